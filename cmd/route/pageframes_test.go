package main

import (
	"slices"
	"testing"

	"github.com/chromedp/chromedp"
)

// longCreek makes what the server says of the creek as long as 5,000 stations,
// by putting stations between those that are there.
const longCreek = `(() => {
	const wanted = 5000, ask = window.fetch;
	const spread = (list, mix) => Array.from({ length: wanted }, (_, k) => {
		const at = k * (list.length - 1) / (wanted - 1), i = Math.min(list.length - 2, Math.floor(at));
		return mix(list[i], list[i + 1], at - i);
	});
	const number = (a, b, t) => a === null || b === null ? null : a + t * (b - a);
	const point = (a, b, t) => [number(a[0], b[0], t), number(a[1], b[1], t)];
	window.fetch = async (path, init) => {
		const response = await ask(path, init);
		if (path !== "api/scene" && path !== "api/plan") return response;
		const said = await response.json();
		if (path === "api/scene") said.creek = { station_m: spread(said.creek.station_m, number), at: spread(said.creek.at, point) };
		else for (const key of Object.keys(said.profile)) said.profile[key] = spread(said.profile[key], number);
		return new Response(JSON.stringify(said));
	};
})()`

// BenchmarkPageFrames drags the pump over a profile of 5,000 stations and
// reports how long the page's own script takes for each move: the answer shown
// in the panels, and both views drawn.
func BenchmarkPageFrames(b *testing.B) {
	p := openPageWith(b, copySite(b, "fernhollow"), "", 1280, 800, longCreek)
	for b.Loop() {
		x, y := p.centre("#profile .handle.pump .pin")
		eval[chromedp.Void](p, `performance.clearMeasures(); undefined`)
		p.do(chromedp.MouseEvent(chromedp.MousePressed, x, y, chromedp.ButtonLeft))
		for k := range 300 {
			p.do(chromedp.MouseEvent(chromedp.MouseMoved, x-float64(min(k%60, 60-k%60)), y, chromedp.ButtonLeft))
		}
		p.do(chromedp.MouseEvent(chromedp.MouseReleased, x, y, chromedp.ButtonLeft))
	}
	took := eval[[]float64](p, `(() => {
		const moves = [];
		for (const m of performance.getEntriesByType("measure").filter((m) => m.name.startsWith("route:")).sort((a, b) => a.startTime - b.startTime)) {
			if (m.name === "route:follow" || !moves.length) moves.push(0);
			moves[moves.length - 1] += m.duration;
		}
		return moves;
	})()`)
	if len(took) < 20 {
		b.Fatalf("only %d moves were followed", len(took))
	}
	slices.Sort(took)
	b.ReportMetric(float64(len(took)), "moves")
	b.ReportMetric(took[len(took)/2], "ms-p50")
	b.ReportMetric(took[len(took)*95/100], "ms-p95")
}
