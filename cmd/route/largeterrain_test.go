package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"route/internal/plan"
)

// mosaic is a virtual raster in the grid of Fernhollow's ground, side cells
// wide and high, with Fernhollow at its true place and the given sources
// around it. Its origin is so many cells north-west of Fernhollow's.
func mosaic(t testing.TB, dir string, side, origin int, sources string) string {
	t.Helper()
	ground := filepath.Join(filepath.Dir(demo(t, "fernhollow")), "ground.tif")
	return save(t, filepath.Join(dir, "mosaic.vrt"), fmt.Sprintf(`<VRTDataset rasterXSize="%d" rasterYSize="%d"><SRS>EPSG:32606+8050</SRS><GeoTransform>%d, 1, 0, %d, 0, -1</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue><UnitType>ft</UnitType>%s%s</VRTRasterBand></VRTDataset>
`, side, side, 368479-origin, 4564524+origin, sources, tileAt(ground, 1000, origin, origin, 1000)))
}

// tileAt is a square raster at a place of a mosaic, stretched to so many cells.
func tileAt(file string, cells, col, row, stretched int) string {
	return fmt.Sprintf(`<SimpleSource><SourceFilename>%s</SourceFilename><SourceBand>1</SourceBand><SrcRect xOff="0" yOff="0" xSize="%d" ySize="%d"/><DstRect xOff="%d" yOff="%d" xSize="%d" ySize="%d"/></SimpleSource>`,
		file, cells, cells, col, row, stretched, stretched)
}

// inGround names another raster for the invented site, and its own folder.
func inGround(t testing.TB, terrain, out string, more ...string) []string {
	t.Helper()
	return append([]string{"plan", demo(t, "fernhollow"), "--terrain", terrain, "--out", out}, more...)
}

// One kilometre of creek is planned on 64 km² of lidar on a server for less
// than a fiftieth of the file, and as it is on a local copy.
func TestRemoteTerrainIsReadInPart(t *testing.T) {
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		t.Skip("gdal_translate is not installed")
	}
	for _, name := range []string{"no_proxy", "NO_PROXY"} {
		t.Setenv(name, "127.0.0.1,localhost")
	}
	dir := t.TempDir()
	ground := filepath.Join(filepath.Dir(demo(t, "fernhollow")), "ground.tif")
	const side = 8
	var around strings.Builder
	for row := range side {
		for col := range side {
			around.WriteString(tileAt(ground, 1000, 1000*col, 1000*row, 1000))
		}
	}
	file := filepath.Join(dir, "ground.tif")
	virtual := mosaic(t, dir, 1000*side, 1000*side/2, around.String())
	if out, err := exec.Command("gdal_translate", "-q", "-of", "COG", "-co", "COMPRESS=NONE", virtual, file).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	info, err := os.Stat(file)
	if err != nil {
		t.Fatal(err)
	}
	var sent atomic.Int64
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasSuffix(r.URL.Path, "/ground.tif") {
			http.NotFound(w, r)
			return
		}
		http.ServeFile(&counted{w, &sent}, r, file)
	}))
	defer server.Close()

	planned := func(terrain string) []byte {
		out := filepath.Join(dir, "plan")
		if code, _, stderr := route(inGround(t, terrain, out)...); code != exitDone {
			t.Fatalf("%s: exit code %d: %s", terrain, code, stderr)
		}
		content, err := os.ReadFile(filepath.Join(out, "plan.json"))
		if err != nil {
			t.Fatal(err)
		}
		var p plan.Plan
		if err := json.Unmarshal(content, &p); err != nil {
			t.Fatal(err)
		}
		if len(p.Layouts) == 0 {
			t.Fatalf("%s: no layout", terrain)
		}
		layouts, err := json.Marshal(p.Layouts)
		if err != nil {
			t.Fatal(err)
		}
		return layouts
	}
	remote := planned(server.URL + "/ground.tif")
	share := float64(sent.Load()) / float64(info.Size())
	t.Logf("%.1f of %.0f MB, %.2f %%", float64(sent.Load())/1e6, float64(info.Size())/1e6, 100*share)
	if share >= 0.02 {
		t.Errorf("%.1f %% of the file was read", 100*share)
	}
	if string(remote) != string(planned(file)) {
		t.Error("the layouts differ from those on a local copy")
	}
}

// counted adds up what a server sends.
type counted struct {
	http.ResponseWriter
	sent *atomic.Int64
}

func (c *counted) Write(p []byte) (int, error) {
	c.sent.Add(int64(len(p)))
	return c.ResponseWriter.Write(p)
}

// A mosaic of 100,000 by 100,000 cells, 40 GB if it were a file, takes no more
// memory than the window that the site needs.
func TestLargeMosaicIsPlannedInLittleMemory(t *testing.T) {
	if _, err := exec.LookPath("gdal_translate"); err != nil {
		t.Skip("gdal_translate is not installed")
	}
	dir := t.TempDir()
	const side, tile = 100_000, 10_000
	ground := filepath.Join(filepath.Dir(demo(t, "fernhollow")), "ground.tif")
	coarse := filepath.Join(dir, "coarse.tif")
	if out, err := exec.Command("gdal_translate", "-q", "-outsize", "250", "250", ground, coarse).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	var around strings.Builder
	for row := range side / tile {
		for col := range side / tile {
			around.WriteString(tileAt(coarse, 250, tile*col, tile*row, tile))
		}
	}
	virtual := mosaic(t, dir, side, side/2, around.String())
	m := runBinary(t, buildBinary(t), inGround(t, virtual, filepath.Join(dir, "plan"), "--json")...)
	if m.code != exitDone {
		t.Fatalf("exit code %d: %s%s", m.code, m.stdout, m.stderr)
	}
	var p plan.Plan
	if err := json.Unmarshal(m.stdout, &p); err != nil {
		t.Fatal(err)
	}
	if len(p.Layouts) == 0 {
		t.Error("no layout")
	}
	t.Logf("%.0f MB at most, %.1f s, %d layouts", m.peakMB, m.seconds, len(p.Layouts))
	if m.peakMB == 0 || m.peakMB >= 300 {
		t.Errorf("%.0f MB of memory", m.peakMB)
	}
}
