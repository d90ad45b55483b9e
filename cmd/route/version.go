package main

import (
	"fmt"

	"route/internal/plan"
)

// versionCommand is `route version`.
type versionCommand struct{}

// Help is shown below the flags.
func (versionCommand) Help() string {
	return `Example:
  route version --json`
}

// Run prints the versions that a result may depend on.
func (versionCommand) Run(s *session) error {
	gdal, proj := plan.LibraryVersions()
	if s.json {
		return s.printJSON(map[string]string{"route": plan.Version, "gdal": gdal, "proj": proj})
	}
	_, err := fmt.Fprintf(s.stdout, "route %s\nGDAL %s\nPROJ %s\n", plan.Version, gdal, proj)
	return err
}
