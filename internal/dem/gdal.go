package dem

import (
	"encoding/xml"
	"errors"
	"strings"

	"github.com/airbusgeo/godal"
)

// gdalLog sorts what GDAL says during a call: failures become the call's
// error, warnings are kept, the rest is dropped.
type gdalLog struct{ warnings []string }

func (l *gdalLog) handle(level godal.ErrorCategory, code int, text string) error {
	switch {
	case level < godal.CE_Warning:
		return nil
	case level == godal.CE_Warning:
		l.warnings = append(l.warnings, text)
		return nil
	}
	return errors.New(strings.TrimSpace(text))
}

// networkConfig keeps a dead server from holding the program for long, and
// keeps GDAL from listing the directory around a remote file.
var networkConfig = []string{
	"GDAL_HTTP_CONNECTTIMEOUT=10",
	"GDAL_HTTP_LOW_SPEED_TIME=20",
	"GDAL_HTTP_LOW_SPEED_LIMIT=100",
	"GDAL_HTTP_MAX_RETRY=2",
	"GDAL_HTTP_RETRY_DELAY=0.5",
	"GDAL_DISABLE_READDIR_ON_OPEN=EMPTY_DIR",
}

// description is what GDAL knows about a raster, in the form in which it
// describes rasters to itself: the header of a virtual raster.
type description struct {
	SRS          string   `xml:"SRS"`
	GeoTransform string   `xml:"GeoTransform"`
	GCPs         []string `xml:"GCPList>GCP"`
	Metadata     []struct {
		Domain string `xml:"domain,attr"`
		Items  []struct {
			Key   string `xml:"key,attr"`
			Value string `xml:",chardata"`
		} `xml:"MDI"`
	} `xml:"Metadata"`
	Bands []struct {
		Description string `xml:"Description"`
		UnitType    string `xml:"UnitType"`
		ColorInterp string `xml:"ColorInterp"`
	} `xml:"VRTRasterBand"`
}

// describe asks GDAL for the header. godal has no call for the unit of a
// band, nor for a CRS that only the newer well-known text can express; the
// virtual raster holds both, and making one reads no heights.
func describe(ds *godal.Dataset) (description, error) {
	var log gdalLog
	vrt, err := ds.Translate("", []string{"-of", "VRT"}, godal.ErrLogger(log.handle))
	if err != nil {
		return description{}, err
	}
	defer vrt.Close()
	var d description
	// The domain holds one text, which godal cuts at its first equals sign.
	for before, after := range vrt.Metadatas(godal.Domain("xml:VRT")) {
		if err := xml.Unmarshal([]byte(before+"="+after), &d); err != nil {
			return description{}, err
		}
	}
	return d, nil
}

// words are all texts that may name the product: band descriptions, titles
// and the like.
func (d description) words() []string {
	var out []string
	for _, b := range d.Bands {
		out = append(out, b.Description)
	}
	for _, m := range d.Metadata {
		if m.Domain != "" {
			continue
		}
		for _, item := range m.Items {
			out = append(out, item.Value)
		}
	}
	return out
}
