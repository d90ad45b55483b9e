// Package sampledata holds the hand-written files of the sample sites. The
// rest of each site is written by the generate command from the model in the
// valley package.
package sampledata

import "embed"

// Files are the site files and price lists, by place.
//
//go:embed fernhollow/site.yaml fernhollow/prices.csv eilwern/site.yaml
var Files embed.FS
