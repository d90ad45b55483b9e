package plan

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"unicode/utf8"

	yaml "github.com/goccy/go-yaml"
	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"route/internal/finding"
)

// ReadSite reads a site file. name is used in messages and to resolve the
// names of other files. Every mistake is a *finding.Fault with its line and
// column.
func ReadSite(name string, r io.Reader) (*Site, error) {
	reader, err := readSettings(name, r)
	if err != nil {
		return nil, err
	}
	return reader.site, reader.complete()
}

// ReadSettings is ReadSite of a file that need not name a creek: the settings
// that many creeks have in common.
func ReadSettings(name string, r io.Reader) (*Site, error) {
	reader, err := readSettings(name, r)
	if err != nil {
		return nil, err
	}
	return reader.site, nil
}

func readSettings(name string, r io.Reader) (*siteReader, error) {
	content, err := io.ReadAll(io.LimitReader(r, maxSiteBytes+1))
	if err != nil {
		return nil, &finding.Fault{Code: "site_unreadable", File: name, Text: err.Error(), Err: err}
	}
	if len(content) > maxSiteBytes {
		return nil, &finding.Fault{Code: "site_too_large", File: name, Text: "is over 1 MB; this cannot be a site file", Hint: "a starter is written by: route new DIR"}
	}
	content = bytes.TrimPrefix(content, []byte("\ufeff")) // some editors put this mark first
	if !utf8.Valid(content) {
		return nil, &finding.Fault{Code: "site_not_utf8", File: name, Text: "is not UTF-8 text", Hint: "save it as UTF-8 in the editor (not \"Unicode\", UTF-16 or ANSI)"}
	}
	f, err := parser.ParseBytes(content, 0)
	if err != nil {
		return nil, syntaxFault(name, err)
	}
	reader := &siteReader{site: NewSite(), file: name}
	reader.site.File = name
	for i, doc := range f.Docs {
		if doc.Body == nil {
			continue
		}
		if i > 0 {
			return nil, reader.fault(doc.Body.GetToken(), "site_structure", "keep one site in one file", "a second document begins here")
		}
		if err := reader.mapping("", doc.Body); err != nil {
			return nil, err
		}
	}
	return reader, nil
}

const maxSiteBytes = 1 << 20

// syntaxFault turns what the YAML parser says into a fault with a place.
func syntaxFault(name string, err error) error {
	fault := &finding.Fault{Code: "site_syntax", File: name, Text: "is not valid YAML: " + err.Error(), Hint: "keys and values are written `key: value`, with two spaces for each level and never a tab", Err: err}
	var located yaml.Error
	if errors.As(err, &located) {
		fault.Text = "is not valid YAML: " + located.GetMessage()
		if tk := located.GetToken(); tk != nil && tk.Position != nil {
			fault.Line, fault.Column = tk.Position.Line, tk.Position.Column
		}
	}
	return fault
}

// siteReader walks the file's tree and fills the site.
type siteReader struct {
	site *Site
	file string
	flow *token.Token // where the low flow was given, by number or by reading
}

// fault points at a token of the file.
func (r *siteReader) fault(tk *token.Token, code, hint, format string, args ...any) error {
	f := &finding.Fault{Code: code, File: r.file, Text: fmt.Sprintf(format, args...), Hint: hint}
	if tk != nil && tk.Position != nil {
		f.Line, f.Column = tk.Position.Line, tk.Position.Column
	}
	return f
}

// mapping reads the entries below a path; "" is the top of the file.
func (r *siteReader) mapping(path string, n ast.Node) error {
	entries, ok := entriesOf(n)
	if !ok {
		return r.fault(n.GetToken(), "site_structure", expectedBelow(path), "%s", strings.TrimSpace(path+" must hold keys, such as "+firstBelow(path)))
	}
	for _, e := range entries {
		sub := e.Key.GetToken().Value
		if path != "" {
			sub = path + "." + sub
		}
		if err := r.entry(sub, e); err != nil {
			return err
		}
	}
	return nil
}

func entriesOf(n ast.Node) ([]*ast.MappingValueNode, bool) {
	switch m := n.(type) {
	case *ast.MappingNode:
		return m.Values, true
	case *ast.MappingValueNode:
		return []*ast.MappingValueNode{m}, true
	default:
		return nil, false
	}
}

// entry reads one `key: value`.
func (r *siteReader) entry(path string, e *ast.MappingValueNode) error {
	switch {
	case path == "demand" && isSequence(e.Value):
		return r.demand(e.Value.(*ast.SequenceNode))
	case path == "field":
		return r.field(e)
	case flowReadings[path] != nil:
		return r.flowReading(path, e)
	case lists[path] != nil:
		return r.list(path, e)
	case isPin(path) && isMapping(e.Value):
		return r.pinPlace(path, e.Value)
	case isLeaf(path):
		value, err := r.scalar(path, e)
		if err != nil {
			return err
		}
		if err := r.site.Set(path, value); err != nil {
			return r.fault(e.Value.GetToken(), "site_value", "", "%s", err)
		}
		if path == lowFlowKey {
			return r.onceLow(e.Key.GetToken())
		}
		return nil
	case len(below(path)) > 0:
		return r.mapping(path, e.Value)
	default:
		parent, last, _ := cutLast(path)
		if strings.Trim(last, "0123456789") == "" {
			return r.fault(e.Key.GetToken(), "site_unknown_key", "decimals are written with a point: 41.2, not 41,2", "%q stands where a key should", last)
		}
		return r.fault(e.Key.GetToken(), "site_unknown_key", expectedBelow(parent), "%q is not a setting%s", path, nearestKey(path))
	}
}

func isSequence(n ast.Node) bool {
	_, ok := n.(*ast.SequenceNode)
	return ok
}

func isMapping(n ast.Node) bool {
	_, ok := entriesOf(n)
	return ok
}

func isLeaf(path string) bool {
	_, ok := setting(path)
	return ok
}

// scalar gives the text of a single value.
func (r *siteReader) scalar(path string, e *ast.MappingValueNode) (string, error) {
	k, _ := setting(path)
	switch v := e.Value.(type) {
	case *ast.StringNode:
		return v.Value, nil
	case *ast.LiteralNode:
		return strings.TrimSpace(v.Value.Value), nil
	case *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
		return v.GetToken().Value, nil
	default:
		return "", r.fault(e.Key.GetToken(), "site_value", "", "%s has no single value; expected %s", path, k.want)
	}
}

// list reads a list of words, or a single word as a list of one.
func (r *siteReader) list(path string, e *ast.MappingValueNode) error {
	nodes := []ast.Node{e.Value}
	if seq, ok := e.Value.(*ast.SequenceNode); ok {
		nodes = seq.Values
	}
	var words []string
	for _, n := range nodes {
		w, ok := n.(*ast.StringNode)
		if !ok || strings.TrimSpace(w.Value) == "" {
			return r.fault(n.GetToken(), "site_value", "", "%s must list names, such as [%s]", path, listExample(path))
		}
		words = append(words, w.Value)
	}
	*lists[path](r.site) = words
	r.site.given[path] = true
	return nil
}

func listExample(path string) string {
	if path == "terrain" {
		return "ground.tif"
	}
	return "a catalog id, another"
}

// complete checks what only the whole file can tell.
func (r *siteReader) complete() error {
	if err := r.pinChosen(); err != nil {
		return err
	}
	if missing, hint := r.site.Missing(); missing != "" {
		return &finding.Fault{Code: "site_incomplete", File: r.file, Text: missing, Hint: hint}
	}
	return nil
}

// Missing names the first thing without which nothing can be planned.
func (s *Site) Missing() (text, hint string) {
	switch {
	case len(s.Terrain) == 0 && !s.levelledCreek():
		return "no terrain is named", "add terrain: [ground.tif], an elevation raster"
	case s.Creek == "" && s.drawn == nil:
		return "no creek is named", "add creek: creek.gpx, a track walked along the creek"
	case s.given["tank.lat"] != s.given["tank.lon"]:
		return "the tank has only one of lat and lon", "add both, in decimal degrees"
	default:
		return "", ""
	}
}

// below lists the keys one level under a path.
func below(path string) []string {
	prefix := ""
	if path != "" {
		prefix = path + "."
	}
	var names []string
	for _, k := range knownKeys() {
		rest, ok := strings.CutPrefix(k, prefix)
		if !ok || rest == "" || (path != "" && k == path) {
			continue
		}
		name, _, _ := strings.Cut(rest, ".")
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

func firstBelow(path string) string {
	names := below(path)
	if len(names) == 0 {
		return "name: value"
	}
	return names[0] + ": …"
}

func expectedBelow(path string) string {
	where := "here"
	if path != "" {
		where = "below " + path
	}
	return "known " + where + ": " + strings.Join(below(path), ", ")
}

func cutLast(path string) (before, after string, found bool) {
	i := strings.LastIndexByte(path, '.')
	if i < 0 {
		return "", path, false
	}
	return path[:i], path[i+1:], true
}
