package web

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"route/internal/export"
)

// TestBodies sends what no page of ours sends: each is refused in words, and
// none with a status of the server's own failing.
func TestBodies(t *testing.T) {
	h := handler(t)
	readings := func(n int) string {
		return strings.TrimSuffix(strings.Repeat(`{"from":"1 m","to":"9 m","drop":"1 m","sigma":"","by":""},`, n), ",")
	}
	with := func(readings string) string {
		return `{"units":"us","wish":{"pins":{},"tank":null,"readings":[` + readings + `]}}`
	}
	for _, c := range []struct {
		name, path, body string
		want             int
	}{
		{"nothing", "/api/plan", "", 400},
		{"no JSON", "/api/plan", "units=us", 400},
		{"half a document", "/api/plan", `{"units":"us"`, 400},
		{"two documents", "/api/plan", `{` + emptyWish + `}{}`, 400},
		{"a list", "/api/plan", `[]`, 400},
		{"an unknown field", "/api/plan", `{` + emptyWish + `,"file":"/etc/passwd"}`, 400},
		{"an unknown field inside", "/api/plan", `{"units":"us","wish":{"pins":{},"terrain":"x"}}`, 400},
		{"other units", "/api/plan", `{"units":"furlongs","wish":{}}`, 422},
		{"no units", "/api/plan", `{"wish":{}}`, 422},
		{"not a number", "/api/plan", `{"units":"us","wish":{"pins":{"pump":NaN}}}`, 400},
		{"a number beyond all", "/api/plan", `{"units":"us","wish":{"pins":{"pump":1e999}}}`, 400},
		{"a huge pin", "/api/plan", `{"units":"us","wish":{"pins":{"pump":1e300}}}`, 422},
		{"a pin far off the creek", "/api/plan", `{"units":"us","wish":{"pins":{"pump":9e6}}}`, 422},
		{"no pump", "/api/plan", `{"units":"us","wish":{"pins":{"pump":"none"}}}`, 422},
		{"another role", "/api/plan", `{"units":"us","wish":{"pins":{"terrain":1}}}`, 422},
		{"a pin of words", "/api/plan", `{"units":"us","wish":{"pins":{"pump":"here"}}}`, 400},
		{"a tank of three", "/api/plan", `{"units":"us","wish":{"tank":[1e300,0]}}`, 422},
		{"a tank off the terrain", "/api/plan", `{"units":"us","wish":{"tank":[900000,0]}}`, 422},
		{"51 readings", "/api/plan", with(readings(51)), 422},
		{"a long reading", "/api/plan", with(`{"from":"` + strings.Repeat("9", 200) + ` m","to":"9 m","drop":"1 m","sigma":"","by":""}`), 422},
		{"a reading that reaches out of its quotes", "/api/plan", with(`{"from":"1 m","to":"9 m\", levels: \"/etc/passwd","drop":"1 m","sigma":"","by":""}`), 422},
		{"a reading by nobody", "/api/plan", with(`{"from":"1 m","to":"9 m","drop":"1 m","sigma":"","by":"guess"}`), 422},
		{"deep nesting", "/api/plan", strings.Repeat(`{"a":`, 12000), 400},
		{"too much", "/api/plan", `{"units":"` + strings.Repeat("x", maxBody) + `"}`, 413},
		{"a try without a pump", "/api/try", `{` + emptyWish + `,"places":{"intake":1}}`, 422},
		{"a spot without a place", "/api/spot", `{` + emptyWish + `}`, 422},
		{"a spot nowhere", "/api/spot", `{` + emptyWish + `,"at":[1e300,1]}`, 422},
		{"a point that is not there", "/api/front", `{` + emptyWish + `,"point":99}`, 422},
		{"a point before the first", "/api/front", `{` + emptyWish + `,"point":-1}`, 422},
		{"a file of another name", "/files/site.yaml", `{` + emptyWish + `}`, 404},
		{"a file outside", "/files/..%2f..%2fetc%2fpasswd", `{` + emptyWish + `}`, 404},
		{"a file by its path", "/files/%2fetc%2fpasswd", `{` + emptyWish + `}`, 404},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := ask(h, c.path, c.body)
			if w.Code != c.want {
				t.Fatalf("status %d, want %d: %.300s", w.Code, c.want, w.Body)
			}
			if said := refusalOf(t, w); strings.Contains(said.Text, "root:") {
				t.Errorf("says %q", said.Text)
			}
		})
	}
}

// TestOnlyJSON holds that a form of another page, which can post without
// asking first, is refused by its type alone.
func TestOnlyJSON(t *testing.T) {
	for _, kind := range []string{"", "text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"} {
		r := httptest.NewRequest(http.MethodPost, "http://127.0.0.1/api/save", strings.NewReader(`{`+emptyWish+`}`))
		if kind != "" {
			r.Header.Set("Content-Type", kind)
		}
		w := httptest.NewRecorder()
		handler(t).ServeHTTP(w, r)
		if w.Code != http.StatusUnsupportedMediaType {
			t.Errorf("%q gives status %d", kind, w.Code)
		}
	}
}

// TestPathsOutside asks for what lies beside the page.
func TestPathsOutside(t *testing.T) {
	for _, path := range []string{"/../guard.go", "/..%2fguard.go", "/%2e%2e/guard.go", "/api/", "/api/plan", "/site.yaml", "/.gitkeep/../../server.go", "/files/report.html"} {
		r := httptest.NewRequest(http.MethodGet, "http://127.0.0.1/", nil)
		r.URL.Path, r.URL.RawPath = path, path
		w := httptest.NewRecorder()
		handler(t).ServeHTTP(w, r)
		if w.Code == http.StatusOK {
			t.Errorf("%s is answered: %.80s", path, w.Body)
		}
	}
}

// TestMostReadings takes as many readings as the page may send.
func TestMostReadings(t *testing.T) {
	h := handler(t)
	var list []string
	for k := range maxReadings {
		list = append(list, fmt.Sprintf(`{"from":"%d m","to":"%d m","drop":"%.2f m","sigma":"0.05 m","by":"level"}`, 400+k, 410+k, 0.2))
	}
	w := ask(h, "/api/plan", `{"units":"si","wish":{"pins":{},"tank":null,"readings":[`+strings.Join(list, ",")+`]}}`)
	if w.Code != http.StatusOK {
		t.Fatalf("status %d: %.300s", w.Code, w.Body)
	}
	var v view
	if err := json.Unmarshal(w.Body.Bytes(), &v); err != nil {
		t.Fatal(err)
	}
	if len(v.Readings) != maxReadings {
		t.Errorf("%d readings are shown, want %d", len(v.Readings), maxReadings)
	}
}

// TestFiles hands out every file that it offers.
func TestFiles(t *testing.T) {
	h := handler(t)
	for _, f := range export.Formats {
		w := ask(h, "/files/"+string(f), `{`+emptyWish+`}`)
		if w.Code != http.StatusOK || w.Body.Len() < 100 || !strings.Contains(w.Header().Get("Content-Disposition"), "attachment") {
			t.Errorf("%s: status %d, %d bytes, %s", f, w.Code, w.Body.Len(), w.Header().Get("Content-Disposition"))
		}
	}
}
