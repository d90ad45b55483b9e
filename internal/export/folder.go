package export

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"route/internal/plan"
)

// WriteFolder writes every file of the hand-off folder. All of them are first
// written in full into a hidden folder beside their places and then renamed, so
// that a run that fails or is interrupted leaves what was there before as it
// was. Other files in the folder are not touched. Extras are written with them.
func WriteFolder(ctx context.Context, dir string, p *plan.Plan, extras ...Extra) error {
	by := map[Format]func(io.Writer) error{}
	var names []Format
	for _, e := range extras {
		by[Format(e.Name)] = e.Write
		names = append(names, Format(e.Name))
	}
	return writeFolder(ctx, dir, func(w io.Writer, f Format) error {
		if write := by[f]; write != nil {
			return write(w)
		}
		return Write(w, f, p)
	}, names...)
}

// Extra is a file of the hand-off folder that another package writes.
type Extra struct {
	Name  string
	Write func(io.Writer) error
}

func writeFolder(ctx context.Context, dir string, write func(io.Writer, Format) error, extras ...Format) (err error) {
	files := append(slices.Clone(Formats), extras...)
	made, err := makeFolder(dir)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			for _, d := range made { // deepest first; one that is in use stays
				os.Remove(d)
			}
		}
	}()
	hidden, err := os.MkdirTemp(dir, ".unfinished-")
	if err != nil {
		return fmt.Errorf("cannot write into %s: %w", dir, err)
	}
	defer os.RemoveAll(hidden)
	for _, f := range files {
		if err := writeFile(ctx, filepath.Join(hidden, string(f)), f, write); err != nil {
			return fmt.Errorf("cannot write %s: %w", filepath.Join(dir, string(f)), err)
		}
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	return moveAll(hidden, dir, files)
}

// makeFolder makes a folder and those above it, and returns the ones that did
// not exist before, deepest first.
func makeFolder(dir string) (made []string, err error) {
	for d := filepath.Clean(dir); ; d = filepath.Dir(d) {
		if _, err := os.Stat(d); err == nil || !errors.Is(err, fs.ErrNotExist) {
			break
		}
		made = append(made, d)
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, fmt.Errorf("cannot make the folder %s: %w", dir, err)
	}
	return made, nil
}

func writeFile(ctx context.Context, path string, f Format, write func(io.Writer, Format) error) error {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	buffered := bufio.NewWriterSize(interruptible{ctx, file}, 1<<16)
	err = write(buffered, f)
	if err == nil {
		err = buffered.Flush()
	}
	return errors.Join(err, file.Close())
}

// interruptible stops writing once its context is done.
type interruptible struct {
	ctx context.Context
	w   io.Writer
}

func (i interruptible) Write(b []byte) (int, error) {
	if err := i.ctx.Err(); err != nil {
		return 0, err
	}
	return i.w.Write(b)
}

// moveAll puts the finished files into their places. When one cannot be put
// there, those before it are taken back and the earlier files return.
func moveAll(from, to string, files []Format) error {
	earlier := filepath.Join(from, "earlier")
	if err := os.Mkdir(earlier, 0o777); err != nil {
		return err
	}
	var undo []func()
	for _, f := range files {
		name := string(f)
		place, kept := filepath.Join(to, name), filepath.Join(earlier, name)
		err := refuseFolder(place)
		if err == nil {
			err = os.Rename(place, kept)
		}
		if err == nil {
			undo = append(undo, func() { os.Rename(kept, place) })
		} else if errors.Is(err, fs.ErrNotExist) {
			undo = append(undo, func() { os.Remove(place) })
			err = nil
		}
		if err == nil {
			err = os.Rename(filepath.Join(from, name), place)
		}
		if err != nil {
			for i := len(undo) - 1; i >= 0; i-- {
				undo[i]()
			}
			return fmt.Errorf("cannot replace %s: %w", place, err)
		}
	}
	return nil
}

// refuseFolder keeps a folder of the person's own, that happens to have a
// file's name, where it is.
func refuseFolder(place string) error {
	info, err := os.Lstat(place)
	if err == nil && info.IsDir() {
		return errors.New("a folder has this name")
	}
	return nil
}
