package export

import (
	"bytes"
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"route/internal/plan"
)

// written gives the bytes of one file.
func written(t testing.TB, f Format, p *plan.Plan) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, f, p); err != nil {
		t.Fatalf("%s: %v", f, err)
	}
	return b.Bytes()
}

// fixtures are the plans that every format has to manage.
func fixtures() map[string]*plan.Plan {
	bare := &plan.Plan{Format: plan.Format, Units: "si", Demand: plan.Unknown, Take: plan.Unknown, LowFlow: plan.Unknown,
		Creek: plan.Creek{LengthM: plan.Unknown, FallM: plan.Unknown}}
	return map[string]*plan.Plan{"us": fixturePlan("us"), "si": fixturePlan("si"), "none": fixtureWithoutLayouts(), "bare": bare, "unknown": fixtureOfUnknowns()}
}

// fixtureOfUnknowns has layouts in which all that may be unknown is.
func fixtureOfUnknowns() *plan.Plan {
	p := fixturePlan("us")
	l := &p.Layouts[0]
	for _, v := range []*plan.Number{&l.DriveHeadM, &l.DriveHeadSigmaM, &l.ChanceWorks, &l.DeliveredLDay, &l.DeliveredLDayLow, &l.DeliveredLDayHigh,
		&l.BeatsPerMin, &l.Efficiency, &l.LiftRatio, &l.ShutoffHeadM, &l.CreekLeftShare, &l.Standpipe.RunningLevelM, &l.Standpipe.StaticLevelM,
		&l.Pump.StationM, &l.Standpipe.StationM, &l.Intake.StationM, &l.Delivery.LiftM, &p.Demand, &p.Take, &p.LowFlow} {
		*v = plan.Unknown
	}
	for i := range l.Drive.Path {
		l.Drive.Path[i].GradeM = plan.Unknown
		l.Drive.Path[i].StationM = plan.Unknown
	}
	for i := range p.Creek.Stations {
		p.Creek.Stations[i].LowM, p.Creek.Stations[i].HighM = plan.Unknown, plan.Unknown
	}
	p.Layouts[2].Supply.Path = nil
	p.Relief = nil
	return p
}

func contents(t *testing.T, dir string) map[string]string {
	t.Helper()
	all := map[string]string{}
	err := filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || path == dir {
			return err
		}
		name, _ := filepath.Rel(dir, path)
		if d.IsDir() {
			all[name] = "(folder)"
			return nil
		}
		text, err := os.ReadFile(path)
		all[name] = string(text)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestTheFolderHoldsEveryFileAndNothingElseChanges(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "plan")
	p := fixturePlan("us")
	if err := WriteFolder(context.Background(), dir, p); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "my notes.txt"), []byte("call the neighbour"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := WriteFolder(context.Background(), dir, p); err != nil {
		t.Fatal(err)
	}
	all := contents(t, dir)
	if all["my notes.txt"] != "call the neighbour" || len(all) != len(Formats)+1 {
		t.Errorf("the folder holds %d files, %d are expected", len(all), len(Formats)+1)
	}
	for _, f := range Formats {
		if all[string(f)] != string(written(t, f, p)) {
			t.Errorf("%s in the folder is not what Write gives", f)
		}
	}
}

func TestTheSamePlanGivesTheSameBytes(t *testing.T) {
	for name := range fixtures() {
		for _, f := range Formats {
			if !bytes.Equal(written(t, f, fixtures()[name]), written(t, f, fixtures()[name])) {
				t.Errorf("%s of %s differs from one run to the next", f, name)
			}
		}
	}
}

// A run that fails or is stopped, at whichever file and byte, leaves the
// results of an earlier one as they were, and no trace of its own.
func TestAFailedRunLeavesTheEarlierResult(t *testing.T) {
	broken := errors.New("disk full")
	for _, at := range Formats {
		for how, fail := range map[string]func(cancel context.CancelFunc) error{
			"write error": func(context.CancelFunc) error { return broken },
			"cancelled":   func(cancel context.CancelFunc) error { cancel(); return nil },
		} {
			parent := t.TempDir()
			dir := filepath.Join(parent, "plan")
			if err := WriteFolder(context.Background(), dir, fixturePlan("si")); err != nil {
				t.Fatal(err)
			}
			before := contents(t, parent)
			run := func(dir string) error {
				ctx, cancel := context.WithCancel(context.Background())
				defer cancel()
				return writeFolder(ctx, dir, func(w io.Writer, f Format) error {
					if _, err := w.Write(bytes.Repeat([]byte("half "), 40_000)); err != nil {
						return err
					}
					if f == at {
						return fail(cancel)
					}
					return nil
				})
			}
			want := broken
			if how == "cancelled" {
				want = context.Canceled
			}
			if err := run(dir); !errors.Is(err, want) {
				t.Errorf("%s at %s: error %v, want %v", how, at, err, want)
			}
			if err := run(filepath.Join(parent, "fresh", "deep")); !errors.Is(err, want) {
				t.Errorf("%s at %s in a new folder: error %v, want %v", how, at, err, want)
			}
			if after := contents(t, parent); !equalMaps(before, after) {
				t.Errorf("%s at %s changed the folder: %d files before, %d after", how, at, len(before), len(after))
			}
		}
	}
}

// Once a run is stopped, not even the file at work is finished.
func TestAStoppedRunWritesNoFurther(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	chunks := 0
	err := writeFolder(ctx, t.TempDir(), func(w io.Writer, _ Format) error {
		for ; chunks < 100; chunks++ {
			if chunks == 3 {
				cancel()
			}
			if _, err := w.Write(make([]byte, 1<<17)); err != nil {
				return err
			}
		}
		return nil
	})
	if !errors.Is(err, context.Canceled) || chunks > 4 {
		t.Errorf("error %v after %d chunks", err, chunks)
	}
}

func equalMaps(a, b map[string]string) bool {
	if len(a) != len(b) {
		return false
	}
	for k, v := range a {
		if b[k] != v {
			return false
		}
	}
	return true
}

// When the last files cannot be put into place, the first ones go back.
func TestAPlaceThatIsTakenPutsEverythingBack(t *testing.T) {
	for _, taken := range Formats {
		dir := t.TempDir()
		for i, f := range Formats {
			if f != taken && i%2 == 0 { // some of the files were there before
				if err := os.WriteFile(filepath.Join(dir, string(f)), []byte("earlier"), 0o666); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := os.MkdirAll(filepath.Join(dir, string(taken), "inside"), 0o777); err != nil {
			t.Fatal(err)
		}
		before := contents(t, dir)
		if err := WriteFolder(context.Background(), dir, fixturePlan("si")); err == nil {
			t.Errorf("a folder in the place of %s was replaced", taken)
		}
		if after := contents(t, dir); !equalMaps(before, after) {
			t.Errorf("with %s taken the folder changed", taken)
		}
	}
}

func TestAFolderThatCannotBeMade(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	for _, dir := range []string{file, filepath.Join(file, "below")} {
		if err := WriteFolder(context.Background(), dir, fixturePlan("si")); err == nil {
			t.Errorf("%s was written into", dir)
		}
	}
}

func TestAReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	for folder, mode := range map[string]os.FileMode{filepath.Dir(dir): 0o755, dir: 0o555} {
		if err := os.Chmod(folder, mode); err != nil {
			t.Fatal(err)
		}
	}
	if os.Geteuid() == 0 { // who may write everywhere
		const nobody = 65534
		if err := syscall.Seteuid(nobody); err != nil {
			t.Fatal(err)
		}
		defer func() {
			if err := syscall.Seteuid(0); err != nil {
				t.Fatal(err)
			}
		}()
	}
	if err := WriteFolder(context.Background(), dir, fixturePlan("si")); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("a read-only folder was written into, or another reason is given: %v", err)
	}
	if left := contents(t, dir); len(left) > 0 {
		t.Errorf("%d files are left behind", len(left))
	}
}

// limited takes some bytes and then fails.
type limited struct{ left int }

var errFull = errors.New("full")

func (l *limited) Write(b []byte) (int, error) {
	if len(b) > l.left {
		return l.left, errFull
	}
	l.left -= len(b)
	return len(b), nil
}

func TestAWriterThatFailsIsReported(t *testing.T) {
	p := fixturePlan("us")
	for _, f := range Formats {
		size := len(written(t, f, p))
		for _, room := range []int{0, size / 2, size - 1} {
			if err := Write(&limited{room}, f, p); !errors.Is(err, errFull) {
				t.Errorf("%s into %d of %d bytes: error %v", f, room, size, err)
			}
		}
	}
	if err := Write(io.Discard, "plan.pdf", p); err == nil {
		t.Error("an unknown format was written")
	}
	if len(writers) != len(Formats) {
		t.Error("formats and writers differ")
	}
}

func BenchmarkWrite(b *testing.B) {
	p := fixturePlan("us")
	for _, f := range Formats {
		b.Run(string(f), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := Write(io.Discard, f, p); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
