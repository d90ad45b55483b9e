package hydraulics_test

import (
	"fmt"
	"math"

	"route/internal/hydraulics"
)

// Water of 60 °F, 0.2 ft³/s through 200 ft of 2 in stainless pipe loses 27.3 ft
// of head (Çengel & Cimbala, Fluid Mechanics, chapter 8).
func ExampleHeadLoss() {
	const ft, inch = 0.3048, 0.0254
	water := hydraulics.Fluid{KinematicViscosity: 1.1225e-6}
	pipe := hydraulics.Pipe{Inside: 2 * inch, Roughness: 0.000084 * inch}
	loss, err := hydraulics.HeadLoss(water, pipe, 200*ft, 0.2*ft*ft*ft, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.1f ft\n", loss/ft)
	// Output: 27.3 ft
}

// Stopping 5 ft/s in a rigid pipe gives about 328 psi (pump-zone.com, causes of
// water hammer).
func ExampleSurge() {
	water, err := hydraulics.Water(293.15, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	head := hydraulics.Surge(water, hydraulics.Pipe{Inside: 0.05}, 5*0.3048)
	fmt.Printf("about %.0f psi\n", math.Round(head*9806.65/6894.757/10)*10)
	// Output: about 330 psi
}

// A source 2.5 m above the waste valve, 100 m of 63 mm polyethylene, 10 m of
// 2 in steel, 20 m of lift. A simulation made with another program settles at a
// level of 1.44 m and 80.6 L/min.
func ExampleInstallation_Running() {
	water, err := hydraulics.Water(283.15, 0)
	if err != nil {
		fmt.Println(err)
		return
	}
	supply, err := hydraulics.ProductByName("PE100 SDR 11 DN63")
	if err != nil {
		fmt.Println(err)
		return
	}
	drive, err := hydraulics.ProductByName("steel Sch 40 2 in")
	if err != nil {
		fmt.Println(err)
		return
	}
	in := hydraulics.Installation{
		Fluid: water, SourceM: 2.5, LiftM: 20,
		Supply: hydraulics.Run{Pipe: supply.Pipe, LengthM: 100},
		Drive:  hydraulics.Run{Pipe: drive.Pipe, LengthM: 10},
		Ram:    hydraulics.DefaultRam(drive.Pipe.Inside),
	}
	o, err := in.Running(1.2)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("level %.1f m, %.0f L/min drawn\n", o.LevelM, math.Round(o.DriveTotal*60e3/10)*10)
	// Output: level 1.5 m, 80 L/min drawn
}
