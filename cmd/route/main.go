// Command route plans hydraulic ram installations: from an elevation raster,
// a GPS track of the creek and the place of a tank to ranked layouts and a
// folder to hand over.
package main

import "os"

func main() { os.Exit(run(os.Args[1:], os.Stdin, os.Stdout, os.Stderr)) }
