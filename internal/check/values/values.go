// Package values holds the published check values of the program and knows
// how to work each of them out. `route verify` and the tests run the same
// files.
package values

import (
	"embed"
	"io/fs"

	"route/internal/check"
)

//go:embed *.check
var files embed.FS

// All reads every check value, file by file in the order of their names.
func All() ([]check.Case, error) {
	names, err := fs.Glob(files, "*.check")
	if err != nil {
		return nil, err
	}
	var all []check.Case
	for _, name := range names {
		f, err := files.Open(name)
		if err != nil {
			return nil, err
		}
		cases, err := check.Read(f, name)
		f.Close()
		if err != nil {
			return nil, err
		}
		all = append(all, cases...)
	}
	return all, nil
}

// Ops tells how to work out each op of the files.
func Ops() map[string]check.Func {
	ops := map[string]check.Func{}
	for name, work := range map[string]func(*given) answers{
		"water":                    water,
		"friction factor":          frictionFactor,
		"pipe run":                 pipeRun,
		"pipes in series":          pipesInSeries,
		"Hazen-Williams":           hazenWilliams,
		"valve by its flow":        valveByFlow,
		"valve by its diameters":   valveByDiameters,
		"valve with reduced seat":  reducedSeat,
		"surge":                    surge,
		"pipe dimensions":          dimensions,
		"velocity":                 velocity,
		"ram":                      ram,
		"efficiency":               efficiency,
		"delivered share":          deliveredShare,
		"collected fall":           collectedFall,
		"intake depth":             intakeDepth,
		"whole day":                wholeDay,
		"standpipe":                standpipe,
		"acceleration efficiency":  accelerationEfficiency,
		"crane turbulent friction": craneFactor,
		"standpipe surge":          standpipeSurge,
		"standpipe ripple":         standpipeRipple,
		"air flushing":             airFlushing,
		"screen":                   screen,
		"screen loss":              screenLoss,
		"fixed friction":           fixedFriction,
		"settling":                 settling,
		"thrust":                   thrust,
		"drive pipe length":        driveLength,
		"float":                    float,
		"people":                   people,
		"use of water":             useOfWater,
		"simulation":               simulation,
		"start":                    start,
	} {
		ops[name] = func(give map[string]string) (map[string]check.Answer, error) {
			g := &given{give: give, used: map[string]bool{}}
			a := work(g)
			return a, g.done()
		}
	}
	return ops
}
