package dem

import (
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/airbusgeo/godal"

	"route/internal/finding"
)

// refusesRanges tells GDAL's complaint about a server that gives files only
// whole.
func refusesRanges(err error) bool {
	return strings.Contains(err.Error(), "ange downloading not supported")
}

// download copies a remote file that its server gives only whole into a
// temporary one, of at most a number of bytes. The caller removes it.
func download(url string, most int64) (name string, err error) {
	fault := func(text string, err error) error {
		return &finding.Fault{Code: "remote_unreadable", File: url, Err: err, Text: text,
			Hint: "download the file and name it here"}
	}
	var log gdalLog
	remote, err := godal.VSIOpen("/vsicurl_streaming/"+url, godal.ErrLogger(log.handle))
	if err != nil {
		return "", fault("the address cannot be read: "+firstLine(err.Error()), err)
	}
	defer remote.Close()
	file, err := os.CreateTemp("", "route-*.raster")
	if err != nil {
		return "", fault("there is no room for a copy: "+plainCause(err), err)
	}
	n, err := io.Copy(file, io.LimitReader(remote, most+1))
	if err = errors.Join(err, file.Close()); err == nil && n > most {
		err = errors.New("the file is too large")
	}
	if err != nil {
		os.Remove(file.Name())
		return "", fault(fmt.Sprintf("the server gives the file only whole, and a copy failed after %d bytes: %v", n, err), err)
	}
	return file.Name(), nil
}
