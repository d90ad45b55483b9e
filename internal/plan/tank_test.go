package plan

import (
	"errors"
	"math"
	"strings"
	"testing"

	"route/internal/finding"
)

// The same place in several spellings; minutes and seconds by hand: 7′24.2″ are
// 0.123389°, 34′4.1″ are 0.567806°.
func TestSetTank(t *testing.T) {
	for _, text := range []string{"45.123389,-122.567806", "45.123389, -122.567806", `45°07'24.2"N, 122°34'04.1"W`} {
		site := NewSite()
		if err := site.SetTank(text); err != nil {
			t.Errorf("%q: %v", text, err)
		}
		if at := site.Tank.At; math.Abs(at.Lat-45.123389) > 1e-6 || math.Abs(at.Lon+122.567806) > 1e-6 {
			t.Errorf("%q: %v", text, at)
		}
	}
	for text, says := range map[string]string{"-122.567806,45.123389": "look swapped", "45": "not a position", "91,0": "latitude", "512345,5123456": "eastings"} {
		var fault *finding.Fault
		if err := NewSite().SetTank(text); !errors.As(err, &fault) || !strings.Contains(fault.Text, says) {
			t.Errorf("%q: %v does not say %q", text, err, says)
		}
	}
}
