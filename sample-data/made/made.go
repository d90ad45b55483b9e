// Package made has the sample sites on disk for the tests of one package, which
// all read the same copy.
package made

import (
	"fmt"
	"os"
	"os/exec"
	"sync"
)

// folder is that of the sites; empty until a test has asked for them.
var folder string

// Sites makes the sample sites once and gives their folder, one folder a site
// below it. Generating them is left to the command, so that the tests need
// nothing of what makes rasters.
var Sites = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "route-sites")
	if err != nil {
		return "", err
	}
	folder = dir
	if out, err := exec.Command("go", "run", "route/sample-data/generate", "-out", dir).CombinedOutput(); err != nil {
		return "", fmt.Errorf("%w: %s", err, out)
	}
	return dir, nil
})

// Remove takes the sites away again, if there are any; tests call it when all
// are done.
func Remove() error { return os.RemoveAll(folder) }
