package plan

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"route/internal/finding"
)

// OpenSite reads the site file of a name.
func OpenSite(name string) (*Site, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, &finding.Fault{Code: "site_missing", File: name, Text: "cannot be opened", Hint: "a starter is written by: route new DIR", Err: err}
	}
	defer file.Close()
	return ReadSite(name, file)
}

// SaveSite changes settings in a site file as EditSite does. The file is
// replaced as a whole or stays as it was; changed is false when it said all of
// it before.
func SaveSite(name string, edits []SiteEdit) (changed bool, err error) {
	fault := func(err error) error {
		return &finding.Fault{Code: "site_unwritable", File: name, Text: "cannot be written: " + err.Error(), Hint: "it stays as it was; is the folder writable?", Err: err}
	}
	before, err := os.ReadFile(name)
	if err != nil {
		return false, fault(err)
	}
	after, err := EditSite(name, before, edits)
	if err != nil || bytes.Equal(before, after) {
		return false, err
	}
	if name, err = filepath.EvalSymlinks(name); err != nil { // the file is replaced, not the link to it
		return false, fault(err)
	}
	info, err := os.Stat(name)
	if err != nil {
		return false, fault(err)
	}
	temporary, err := os.CreateTemp(filepath.Dir(name), ".site-*")
	if err != nil {
		return false, fault(err)
	}
	defer os.Remove(temporary.Name()) // gone already when all went well
	_, err = temporary.Write(after)
	if err = errors.Join(err, temporary.Chmod(info.Mode().Perm()), temporary.Sync(), temporary.Close()); err == nil {
		err = os.Rename(temporary.Name(), name)
	}
	if err != nil {
		return false, fault(err)
	}
	return true, nil
}

// KeepsToFolder refuses a site file that names files outside its own folder, or
// on other machines: one that came by mail and is only to be looked at must not
// reach for what else is on this machine.
func (s *Site) KeepsToFolder() error {
	if s.File == "" || s.File == "-" {
		return nil // the files stand on the command line
	}
	folder, err := filepath.Abs(filepath.Dir(s.File))
	if err != nil {
		return err
	}
	if real, err := filepath.EvalSymlinks(folder); err == nil {
		folder = real
	}
	names := append([]string{s.Creek, s.CreekLine, s.Land, s.Catalog}, s.Terrain...)
	for _, reading := range s.Field {
		names = append(names, reading.Levels)
	}
	for _, name := range names {
		if name == "" {
			continue
		}
		if !within(folder, s.path(name)) {
			return &finding.Fault{Code: "file_outside", File: s.File, Text: "names " + name + ", which is outside its folder", Hint: "copy the file into the folder of the site file"}
		}
	}
	return nil
}

// within says whether a file is below a folder, behind all links. A file that
// is not there yet counts by its name.
func within(folder, name string) bool {
	if strings.Contains(name, "://") || strings.HasPrefix(name, "/vsi") {
		return false
	}
	path, err := filepath.Abs(name)
	if err != nil {
		return false
	}
	real, err := filepath.EvalSymlinks(path)
	switch {
	case err == nil:
		path = real
	case !errors.Is(err, fs.ErrNotExist):
		return false
	}
	rel, err := filepath.Rel(folder, path)
	return err == nil && filepath.IsLocal(rel)
}
