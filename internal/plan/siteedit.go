package plan

import (
	"bytes"
	"errors"
	"fmt"
	"strings"

	"github.com/goccy/go-yaml/ast"
	"github.com/goccy/go-yaml/parser"
	"github.com/goccy/go-yaml/token"

	"route/internal/finding"
)

// SiteEdit is one change of a site file: a setting gets a value, or a list an
// entry more.
type SiteEdit struct {
	Key string // "pins.pump", "tank.lat", "field"
	// Value is what is to stand behind the key, as YAML on one line; "" takes
	// the key out.
	Value string
	// Append adds Value to the list of the key instead of replacing it.
	Append bool
}

// EditSite changes settings in the text of a site file and leaves everything
// else as it is, comments, order and blank lines included. The result is read
// again before it is returned: what the editor does not understand is a fault
// that names the line to type by hand, never a damaged file.
func EditSite(name string, content []byte, edits []SiteEdit) ([]byte, error) {
	content, mark := bytes.CutPrefix(content, []byte("\ufeff"))
	// The parser counts a line twice that ends as Windows ends lines.
	windows := bytes.Contains(content, []byte("\r\n"))
	if windows {
		content = bytes.ReplaceAll(content, []byte("\r\n"), []byte("\n"))
	}
	for _, e := range edits {
		edited, err := editOnce(content, e)
		if err == nil {
			err = e.holds(name, edited)
		}
		if err != nil {
			return nil, &finding.Fault{Code: "site_edit", File: name, Text: fmt.Sprintf("%s cannot be changed here without touching the rest of the file", e.Key), Hint: "write it by hand: " + e.byHand(), Err: err}
		}
		content = edited
	}
	if windows {
		content = bytes.ReplaceAll(content, []byte("\n"), []byte("\r\n"))
	}
	if mark {
		content = append([]byte("\ufeff"), content...)
	}
	return content, nil
}

// holds reads an edited file again and looks whether it says what it should.
func (e SiteEdit) holds(name string, content []byte) error {
	if _, err := readSettings(name, bytes.NewReader(content)); err != nil {
		return err
	}
	if e.Append {
		return nil
	}
	_, n, err := readText(content)
	if err != nil {
		return err
	}
	var entry *ast.MappingValueNode
	for part := range strings.SplitSeq(e.Key, ".") {
		if entry = find(n, part); entry == nil {
			break
		}
		n = entry.Value
	}
	switch {
	case entry == nil && e.Value == "":
		return nil
	case entry == nil || e.Value == "":
		return fmt.Errorf("%s is not as it should be", e.Key)
	}
	_, wanted, err := readText([]byte("key: " + e.Value))
	if err != nil {
		return err
	}
	if w := find(wanted, "key"); w == nil || w.Value.String() != entry.Value.String() {
		return fmt.Errorf("%s is not as it should be", e.Key)
	}
	return nil
}

func (e SiteEdit) byHand() string {
	switch {
	case e.Append:
		return e.Key + ": [" + e.Value + "]"
	case e.Value == "":
		return "take out " + e.Key
	default:
		return e.Key + ": " + e.Value
	}
}

// siteText is the text of a site file with the tree of it.
type siteText struct {
	content []byte
	starts  []int // byte offset of each line
}

// readText gives a site file with the top of its tree; nil when it is empty.
func readText(content []byte) (*siteText, ast.Node, error) {
	f, err := parser.ParseBytes(content, 0)
	if err != nil {
		return nil, nil, err
	}
	t := &siteText{content: content, starts: []int{0}}
	for i, c := range content {
		if c == '\n' {
			t.starts = append(t.starts, i+1)
		}
	}
	if len(f.Docs) == 0 {
		return t, nil, nil
	}
	return t, f.Docs[0].Body, nil
}

func editOnce(content []byte, e SiteEdit) ([]byte, error) {
	if strings.ContainsAny(e.Value, "\r\n") {
		return nil, errors.New("a value stands on one line")
	}
	t, top, err := readText(content)
	if err != nil {
		return nil, err
	}
	parent, last, nested := cutLast(e.Key)
	if !nested {
		if e.Append {
			return t.appendItem(top, last, e.Value)
		}
		return t.setIn(top, last, e.Value)
	}
	holder := find(top, parent)
	if holder == nil {
		if e.Value == "" {
			return content, nil
		}
		return t.atEnd(fmt.Sprintf("%s:\n  %s: %s\n", parent, last, e.Value)), nil
	}
	if entries, ok := entriesOf(holder.Value); ok && e.Value == "" && len(entries) == 1 && entries[0].Key.GetToken().Value == last {
		return t.takeOut(holder)
	}
	return t.setIn(holder.Value, last, e.Value)
}

// find gives the entry of a key of a mapping.
func find(n ast.Node, key string) *ast.MappingValueNode {
	entries, _ := entriesOf(n)
	for _, e := range entries {
		if e.Key.GetToken().Value == key {
			return e
		}
	}
	return nil
}

// setIn gives a key of a mapping a value, adding or taking out the key.
func (t *siteText) setIn(n ast.Node, key, value string) ([]byte, error) {
	e := find(n, key)
	flow, isFlow := n.(*ast.MappingNode)
	isFlow = isFlow && flow.IsFlowStyle
	switch {
	case e == nil && value == "":
		return t.content, nil
	case e != nil && value != "":
		from, to, err := t.span(e.Value, isFlow)
		if err != nil {
			return nil, err
		}
		return t.replaced(from, to, value), nil
	case isFlow:
		return t.rebuilt(flow, key, value)
	case e != nil:
		return t.takeOut(e)
	}
	entries, _ := entriesOf(n)
	if len(entries) == 0 {
		return t.atEnd(key + ": " + value + "\n"), nil
	}
	if entries[0].Key.GetToken().Position.Column == 1 {
		return t.atEnd(key + ": " + value + "\n"), nil
	}
	first := entries[0].Key.GetToken().Position
	at := t.starts[first.Line-1]
	return t.replaced(at, at, strings.Repeat(" ", first.Column-1)+key+": "+value+"\n"), nil
}

// rebuilt writes a mapping in braces again with one key added or taken out.
func (t *siteText) rebuilt(m *ast.MappingNode, key, value string) ([]byte, error) {
	var parts []string
	for _, e := range m.Values {
		if e.Key.GetToken().Value == key {
			continue
		}
		_, to, err := t.span(e.Value, true)
		if err != nil {
			return nil, err
		}
		parts = append(parts, string(t.content[t.offset(e.Key.GetToken()):to]))
	}
	if value != "" {
		parts = append(parts, key+": "+value)
	}
	return t.replaced(t.offset(m.Start), t.offset(m.End)+1, "{"+strings.Join(parts, ", ")+"}"), nil
}

// takeOut removes the lines of an entry that stands on lines of its own.
func (t *siteText) takeOut(e *ast.MappingValueNode) ([]byte, error) {
	line := e.Key.GetToken().Position.Line
	last := line
	if entries, ok := entriesOf(e.Value); ok {
		for _, inner := range entries {
			last = max(last, inner.Key.GetToken().Position.Line)
		}
	}
	before := strings.TrimSpace(string(t.content[t.starts[line-1]:t.offset(e.Key.GetToken())]))
	if before != "" {
		return nil, fmt.Errorf("line %d holds more than this key", line)
	}
	end := len(t.content)
	if last < len(t.starts) {
		end = t.starts[last]
	}
	return t.replaced(t.starts[line-1], end, ""), nil
}

// appendItem adds an entry to a list of the top level.
func (t *siteText) appendItem(top ast.Node, key, item string) ([]byte, error) {
	e := find(top, key)
	if e == nil {
		return t.atEnd(fmt.Sprintf("%s:\n  - %s\n", key, item)), nil
	}
	list, ok := e.Value.(*ast.SequenceNode)
	if !ok {
		return nil, fmt.Errorf("%s is not a list", key)
	}
	if list.IsFlowStyle {
		if len(list.Values) == 0 {
			return t.replaced(t.offset(list.Start), t.offset(list.End)+1, "\n  - "+item), nil
		}
		end := t.offset(list.End)
		trimmed := len(bytes.TrimRight(t.content[:end], " \n,"))
		return t.replaced(trimmed, end, ", "+item), nil
	}
	first := list.Start.Position
	at := t.starts[first.Line-1]
	// New readings go before the others: the end of a list in the middle of a
	// file cannot be told from the comments that follow it.
	return t.replaced(at, at, strings.Repeat(" ", first.Column-1)+"- "+item+"\n"), nil
}

func (t *siteText) offset(tk *token.Token) int {
	start := t.starts[tk.Position.Line-1]
	line := t.content[start:]
	if i := bytes.IndexByte(line, '\n'); i >= 0 {
		line = line[:i]
	}
	column := 1
	for i := range string(line) {
		if column == tk.Position.Column {
			return start + i
		}
		column++
	}
	return start + len(line)
}

// span gives the bytes of a value that stands on one line or in brackets.
func (t *siteText) span(n ast.Node, flow bool) (from, to int, err error) {
	switch v := n.(type) {
	case *ast.MappingNode:
		if v.IsFlowStyle {
			return t.offset(v.Start), t.offset(v.End) + 1, nil
		}
	case *ast.SequenceNode:
		if v.IsFlowStyle {
			return t.offset(v.Start), t.offset(v.End) + 1, nil
		}
	case *ast.StringNode, *ast.IntegerNode, *ast.FloatNode, *ast.BoolNode:
		from = t.offset(n.GetToken())
		return from, from + scalarLength(t.content[from:], flow), nil
	}
	return 0, 0, fmt.Errorf("line %d holds a value of several lines", n.GetToken().Position.Line)
}

// scalarLength is how far a scalar reaches from its first byte.
func scalarLength(text []byte, flow bool) int {
	if i := bytes.IndexByte(text, '\n'); i >= 0 {
		text = text[:i]
	}
	if len(text) > 0 && (text[0] == '"' || text[0] == '\'') {
		for i := 1; i < len(text); i++ {
			switch {
			case text[0] == '"' && text[i] == '\\':
				i++
			case text[i] == text[0] && text[0] == '\'' && i+1 < len(text) && text[i+1] == '\'':
				i++
			case text[i] == text[0]:
				return i + 1
			}
		}
		return len(text)
	}
	end := len(text)
	if i := bytes.Index(text, []byte(" #")); i >= 0 {
		end = i
	}
	if flow {
		if i := bytes.IndexAny(text[:end], ",}]"); i >= 0 {
			end = i
		}
	}
	return len(bytes.TrimRight(text[:end], " \t\r"))
}

func (t *siteText) replaced(from, to int, text string) []byte {
	return bytes.Join([][]byte{t.content[:from], []byte(text), t.content[to:]}, nil)
}

// atEnd adds lines at the end.
func (t *siteText) atEnd(lines string) []byte {
	out := bytes.Clone(t.content)
	if len(out) > 0 && out[len(out)-1] != '\n' {
		out = append(out, '\n')
	}
	return append(out, lines...)
}
