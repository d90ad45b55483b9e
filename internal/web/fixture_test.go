package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"route/internal/plan"
	"route/sample-data/made"
)

func TestMain(m *testing.M) {
	code := m.Run()
	if err := made.Remove(); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	os.Exit(code)
}

// siteCopy is a site file of the demo in a folder of its own.
func siteCopy(t testing.TB) string {
	t.Helper()
	dir, err := made.Sites()
	if err != nil {
		t.Fatal(err)
	}
	to := t.TempDir()
	if err := os.CopyFS(to, os.DirFS(filepath.Join(dir, "fernhollow"))); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(to, "site.yaml")
}

// quick is a site that plans without the parts that take long.
func quick(t testing.TB, file string) *plan.Site {
	t.Helper()
	site, err := plan.OpenSite(file)
	if err != nil {
		t.Fatal(err)
	}
	for key, value := range map[string]string{"replans": "0", "front": "0"} {
		if err := site.Set(key, value); err != nil {
			t.Fatal(err)
		}
	}
	return site
}

// served is a page of Fernhollow behind a real port.
type served struct {
	*Server
	t    testing.TB
	url  string
	file string
}

func serve(t testing.TB) *served {
	t.Helper()
	file := siteCopy(t)
	s, err := New(t.Context(), quick(t, file), nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	over := httptest.NewServer(s.Handler())
	t.Cleanup(over.Close)
	return &served{s, t, over.URL, file}
}

// shared is one server for all tests that change nothing.
var shared struct {
	once sync.Once
	*Server
	err error
}

// handler answers as the server of Fernhollow, without a port.
func handler(t testing.TB) http.Handler {
	t.Helper()
	shared.once.Do(func() {
		dir, err := made.Sites()
		if err != nil {
			shared.err = err
			return
		}
		shared.Server, shared.err = New(context.Background(), quick(t, filepath.Join(dir, "fernhollow", "site.yaml")), nil)
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.Handler()
}

// ask sends a body as the page does.
func ask(h http.Handler, path, body string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1"+path, bytes.NewBufferString(body))
	r.Header.Set("Content-Type", "application/json")
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// refusalOf reads the words of a refusal; it is an error when there are none.
func refusalOf(t testing.TB, w *httptest.ResponseRecorder) refusal {
	t.Helper()
	var said struct{ Error refusal }
	if err := json.Unmarshal(w.Body.Bytes(), &said); err != nil || said.Error.Code == "" || said.Error.Text == "" {
		t.Fatalf("%d says %q, which is no refusal in words (%v)", w.Code, w.Body, err)
	}
	return said.Error
}

// post sends a body over the port and returns status and answer.
func (s *served) post(path string, body any) (int, []byte) {
	s.t.Helper()
	text, err := json.Marshal(body)
	if err != nil {
		s.t.Fatal(err)
	}
	response, err := http.Post(s.url+path, "application/json", bytes.NewReader(text))
	if err != nil {
		s.t.Fatal(err)
	}
	defer response.Body.Close()
	content, err := io.ReadAll(response.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return response.StatusCode, content
}

// emptyWish is a page on which nothing is held in place.
const emptyWish = `"units":"us","wish":{"pins":{},"tank":null,"readings":[]}`
