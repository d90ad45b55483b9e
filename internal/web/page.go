// Package web serves the map page: a site's plan in the browser of the machine
// on which the program runs. What the page shows comes from the same Plan as
// the hand-off files; the page itself turns it into pixels only.
package web

import (
	"embed"
	"io/fs"
	"net/http"
)

// dist holds the bundle that web/build.mjs leaves there; a checkout on which
// the page was never built has an empty folder.
//
//go:embed all:dist
var dist embed.FS

// Built says whether this program has the page inside.
func Built() bool {
	_, err := fs.Stat(dist, "dist/index.html")
	return err == nil
}

// pageFiles serves the bundle.
func pageFiles() http.Handler {
	files, err := fs.Sub(dist, "dist")
	if err != nil {
		panic("the embedded folder is called dist")
	}
	return http.FileServerFS(files)
}
