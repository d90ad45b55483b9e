package geodesy_test

import (
	"fmt"

	"route/internal/geodesy"
)

func ExampleFrame() {
	intake, _ := geodesy.ParseLatLon("45.0000, -150.0000")
	tank, _ := geodesy.ParseLatLon(`45°00'18.0"N, 149°59'42.0"W`)
	frame, _ := geodesy.NewFrame(intake, 320)
	p := frame.ToFrame(tank)
	fmt.Printf("%.2f m east, %.2f m north\n", p[0], p[1])
	// Output: 394.22 m east, 555.70 m north
}
