package profile

import "github.com/paulmach/orb"

// Alignment is a line with a linear reference: it maps stations to points of
// the frame and back.
type Alignment struct {
	line    orb.LineString
	station []Station // of each vertex
}

// Line returns the vertices. The caller must not change them.
func (a *Alignment) Line() orb.LineString { return a.line }
