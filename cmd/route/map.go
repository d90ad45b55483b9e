package main

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"

	"route/internal/finding"
	"route/internal/web"
)

// mapCommand is `route map`.
type mapCommand struct {
	siteFlags
	Listen string `help:"Address of this computer to serve at; port 0 takes a free one." default:"127.0.0.1:0" placeholder:"HOST:PORT"`
	Open   bool   `help:"Open the page in the browser, where there is a screen." default:"true" negatable:""`
}

// Help is shown below the flags.
func (mapCommand) Help() string {
	return `Serves the map page of a site to the browser on this computer, until Ctrl-C.

Examples:
  route map demo/fernhollow/site.yaml
  route map site.yaml --listen 127.0.0.1:8031 --no-open`
}

// Run reads the site, serves the page and prints its address on one line.
func (c *mapCommand) Run(s *session) error {
	site, err := c.load(s)
	if err != nil {
		return err
	}
	if !web.Built() {
		return pageNotBuilt()
	}
	listener, err := web.Listen(c.Listen)
	if err != nil {
		return err
	}
	bar := newProgress(s.stderr)
	server, err := web.New(s.ctx, site, bar.show)
	bar.clear()
	if err != nil {
		// The page needs a tank to begin with, and can move it.
		if f, ok := errors.AsType[*finding.Fault](err); ok && f.Code == "tank_missing" {
			told := *f
			told.Hint += ", or --tank LAT,LON: any place near will do, the page can move it"
			err = &told
		}
		return errors.Join(err, listener.Close())
	}
	defer server.Close()
	address := "http://" + listener.Addr().String() + "/"
	fmt.Fprintln(s.stdout, address)
	if c.Open {
		openBrowser(address)
	}
	return server.Serve(s.ctx, listener)
}

// pageNotBuilt tells, on one line, whoever built the program without Node how
// to have the page.
func pageNotBuilt() error {
	return &finding.Fault{Code: "page_not_built", Text: "the map page is not in this program; with Node 18 or newer, make web build puts it in"}
}

// openBrowser asks the desktop to show an address; where there is none, the
// printed line is all there is.
func openBrowser(address string) {
	opener := "xdg-open"
	switch {
	case runtime.GOOS == "darwin":
		opener = "open"
	case os.Getenv("DISPLAY") == "" && os.Getenv("WAYLAND_DISPLAY") == "":
		return
	}
	if path, err := exec.LookPath(opener); err == nil {
		_ = exec.Command(path, address).Start() // the address stands in the window all the same
	}
}
