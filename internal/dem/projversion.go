package dem

// #cgo pkg-config: gdal
// #include <ogr_srs_api.h>
import "C"

import "fmt"

// ProjVersion gives the version of the PROJ library that GDAL uses here.
func ProjVersion() string {
	var major, minor, patch C.int
	C.OSRGetPROJVersion(&major, &minor, &patch)
	return fmt.Sprintf("%d.%d.%d", int(major), int(minor), int(patch))
}
