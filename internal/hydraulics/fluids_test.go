package hydraulics

import (
	"bufio"
	"fmt"
	"math"
	"math/rand/v2"
	"os/exec"
	"strings"
	"testing"
)

// secondOpinion asks python3-fluids for friction factor and head loss of each
// state on standard input.
const secondOpinion = `
import sys
try:
    from fluids.friction import Clamond
    from fluids.core import Reynolds, K_from_f, dP_from_K
except ImportError:
    sys.exit(3)
for line in sys.stdin:
    d, eps, l, q, k, rho, mu = map(float, line.split())
    v = q / (3.141592653589793 / 4 * d * d)
    re = Reynolds(V=v, D=d, rho=rho, mu=mu)
    f = 64 / re if re < 2000 else Clamond(re, eps / d)
    dp = dP_from_K(K_from_f(f, l, d) + k, rho, v)
    print(re, f, dp / (rho * 9.80665))
`

// 10,000 random pipe states against python3-fluids 1.0.22, an independent
// program, where it is installed (Debian package python3-fluids). Both solve
// Colebrook; states between Re 2000 and 4000, where they use different curves,
// are drawn again.
func TestAgainstFluids(t *testing.T) {
	const python, seed, states = "/usr/bin/python3", 21, 10_000
	probe := exec.Command(python, "-c", "import fluids")
	if err := probe.Run(); err != nil {
		t.Skip("python3-fluids is not installed; apt-get install python3-fluids")
	}
	rng := rand.New(rand.NewPCG(seed, 0))
	logU := func(lo, hi float64) float64 { return lo * math.Pow(hi/lo, rng.Float64()) }
	type state struct{ loss, f float64 }
	var in strings.Builder
	var ours []state
	for len(ours) < states {
		fl, err := Water(273.15+60*rng.Float64(), 0)
		if err != nil {
			t.Fatal(err)
		}
		p := Pipe{Inside: logU(0.008, 0.5)}
		p.Roughness = logU(1e-7, 0.05*p.Inside)
		length, flow, k := logU(0.5, 5000), p.Area()*logU(1e-3, 6), 30*rng.Float64()
		re := Reynolds(fl, p, flow)
		if RegimeOf(re) == Transition {
			continue
		}
		loss, err := HeadLoss(fl, p, length, flow, k)
		if err != nil {
			t.Fatal(err)
		}
		f, err := FrictionFactor(re, p.Roughness/p.Inside)
		if err != nil {
			t.Fatal(err)
		}
		ours = append(ours, state{loss, f})
		fmt.Fprintln(&in, p.Inside, p.Roughness, length, flow, k, fl.Density, fl.Density*fl.KinematicViscosity)
	}
	cmd := exec.Command(python, "-c", secondOpinion)
	cmd.Stdin = strings.NewReader(in.String())
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("python3-fluids: %v", err)
	}
	scan := bufio.NewScanner(strings.NewReader(string(out)))
	worstF, worstH, n := 0.0, 0.0, 0
	for scan.Scan() {
		var re, f, h float64
		if _, err := fmt.Sscan(scan.Text(), &re, &f, &h); err != nil {
			t.Fatal(err)
		}
		worstF, worstH = max(worstF, relative(ours[n].f, f)), max(worstH, relative(ours[n].loss, h))
		n++
	}
	t.Logf("seed %d: %d states, worst relative difference: friction factor %.2g, head loss %.2g", seed, n, worstF, worstH)
	if n != states || worstF > 1e-8 || worstH > 1e-8 {
		t.Errorf("%d states came back; friction factor off by %g, head loss by %g", n, worstF, worstH)
	}
}
