package dem

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/airbusgeo/godal"
	"github.com/paulmach/orb"
)

// counter serves one file with ranges and counts the bytes it sends.
type counter struct {
	data []byte
	sent atomic.Int64
	gate chan struct{} // when set, requests beyond the first megabyte wait for it
}

func (c *counter) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	if !strings.HasSuffix(r.URL.Path, ".tif") {
		http.NotFound(w, r)
		return
	}
	if c.gate != nil {
		from, _, _ := strings.Cut(strings.TrimPrefix(r.Header.Get("Range"), "bytes="), "-")
		if at, err := strconv.Atoi(from); err == nil && at > 1<<20 {
			select {
			case <-c.gate:
			case <-r.Context().Done():
				return
			}
		}
	}
	http.ServeContent(&counting{w, &c.sent}, r, "x.tif", time.Time{}, bytes.NewReader(c.data))
}

type counting struct {
	http.ResponseWriter
	sent *atomic.Int64
}

func (c *counting) Write(p []byte) (int, error) {
	c.sent.Add(int64(len(p)))
	return c.ResponseWriter.Write(p)
}

// cog is a cloud-optimised GeoTIFF of 3000 x 3000 cells, 37 MB.
func cog(t testing.TB) []byte {
	t.Helper()
	s := utm(3000, 3000, func(i, j int) float64 { return 100 + 0.1*float64(i) + 0.05*float64(j) + noiseAt(i, j) })
	path := s.make(t, "plain.tif")
	ds, err := godal.Open(path)
	must(t, err)
	out := filepath.Join(t.TempDir(), "cog.tif")
	v, err := ds.Translate(out, []string{"-of", "COG", "-co", "COMPRESS=NONE", "-co", "BLOCKSIZE=256", "-co", "OVERVIEWS=NONE"})
	must(t, err)
	must(t, v.Close())
	must(t, ds.Close())
	data, err := os.ReadFile(out)
	must(t, err)
	return data
}

// noiseAt is a cheap fixed hash of a cell, in 0 to 1.
func noiseAt(i, j int) float64 {
	h := uint32(i)*2654435761 ^ uint32(j)*2246822519
	h ^= h >> 15
	h *= 2246822519
	h ^= h >> 13
	return float64(h) / math.MaxUint32
}

// local keeps a proxy of the environment away from the test's own server.
func local(t testing.TB, c *counter) *httptest.Server {
	t.Helper()
	for _, name := range []string{"no_proxy", "NO_PROXY"} {
		t.Setenv(name, "127.0.0.1,localhost")
	}
	server := httptest.NewServer(c)
	t.Cleanup(server.Close)
	return server
}

// Of a raster on a server only the window is fetched.
func TestRemoteReadsOnlyTheWindow(t *testing.T) {
	c := &counter{data: cog(t)}
	server := local(t, c)
	src := open(t, Options{ZUnit: "m"}, server.URL+"/window/dem.tif")
	surface, f := load(t, src, 100)
	share := float64(c.sent.Load()) / float64(len(c.data))
	t.Logf("%d of %d bytes, %.1f %%", c.sent.Load(), len(c.data), 100*share)
	if share > 0.05 {
		t.Errorf("%.0f %% of the file was read", 100*share)
	}
	p := frameOf(t, f, "EPSG:26910", []float64{501500.5}, []float64{3998499.5})[0]
	z, ok := surface.At(p)
	if want := 100 + 150 + 75 + noiseAt(1500, 1500); !ok || math.Abs(z-want) > 1e-3 {
		t.Errorf("height %v %v, want %v", z, ok, want)
	}
	info := src.Infos()[0]
	if info.SHA256 != "" || info.SHA256Note == "" {
		t.Errorf("checksum of a remote file: %q, %q", info.SHA256, info.SHA256Note)
	}
	if z, err := src.HeightNear(f.ToLonLat(orb.Point{900, 900})); err != nil || z != z {
		t.Errorf("HeightNear: %v %v", z, err)
	}
}

// wholeOnly is a server that takes no notice of ranges.
type wholeOnly struct{ data []byte }

func (s wholeOnly) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Content-Length", strconv.Itoa(len(s.data)))
	if r.Method != http.MethodHead {
		w.Write(s.data)
	}
}

// A server that gives files only whole is read through a copy, which is gone
// afterwards; its heights are those of the same file on disk.
func TestRemoteWithoutRanges(t *testing.T) {
	for _, name := range []string{"no_proxy", "NO_PROXY"} {
		t.Setenv(name, "127.0.0.1,localhost")
	}
	t.Setenv("TMPDIR", t.TempDir())
	path := utm(600, 600, func(i, j int) float64 { return 100 + 0.1*float64(i) + noiseAt(i, j) }).make(t, "plain.tif") // too much for one request
	data, err := os.ReadFile(path)
	must(t, err)
	server := httptest.NewServer(wholeOnly{data})
	defer server.Close()

	src, err := Open([]string{server.URL + "/dem.tif"}, Options{ZUnit: "m"})
	must(t, err)
	got, f := load(t, src, 15)
	want, err := open(t, Options{ZUnit: "m"}, path).Load(t.Context(), f, got.Bound())
	must(t, err)
	for _, p := range []orb.Point{{0, 0}, {3.3, -4.7}, {-12, 9.5}} {
		a, okA := got.At(p)
		b, okB := want.At(p)
		if !okA || !okB || a != b {
			t.Errorf("at %v %v %v from the server, %v %v from the disk", p, a, okA, b, okB)
		}
	}
	if info := src.Infos()[0]; info.Path != server.URL+"/dem.tif" || info.SHA256 != fmt.Sprintf("%x", sha256.Sum256(data)) {
		t.Errorf("the raster is called %q, its checksum %q", info.Path, info.SHA256)
	}
	must(t, src.Close())
	if left, _ := filepath.Glob(filepath.Join(os.Getenv("TMPDIR"), "route-*")); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}

	_, err = Open([]string{server.URL + "/larger.tif"}, Options{ZUnit: "m", MaxBytes: 1000})
	fault(t, err, "remote_unreadable")
}

func TestRemoteThatIsNoRaster(t *testing.T) {
	server := local(t, &counter{})
	_, err := Open([]string{server.URL + "/page.html"}, Options{ZUnit: "m"})
	fault(t, err, "remote_unreadable")
	server.Close()
	_, err = Open([]string{server.URL + "/gone/dem.tif"}, Options{ZUnit: "m"})
	fault(t, err, "remote_unreadable")
}

// A server that does not answer does not hold a cancelled run.
func TestRemoteCancelled(t *testing.T) {
	c := &counter{data: cog(t), gate: make(chan struct{})}
	server := local(t, c)
	src, err := Open([]string{server.URL + "/slow/dem.tif"}, Options{ZUnit: "m"})
	must(t, err)
	f := site(t, src)
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		_, err := src.Load(ctx, f, around(f, 1200))
		done <- err
	}()
	time.AfterFunc(50*time.Millisecond, cancel)
	select {
	case err := <-done:
		if !errors.Is(err, context.Canceled) {
			t.Errorf("have %v", err)
		}
	case <-time.After(20 * time.Second):
		t.Error("still waiting for the server")
	}
	must(t, src.Close()) // does not wait either
	close(c.gate)
	src.mu.Lock() // until the reader has let go
	src.mu.Unlock()
	must(t, src.Close())
}

var _ io.Writer = (*counting)(nil)
