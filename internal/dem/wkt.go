package dem

import (
	"strconv"
	"strings"
)

// wktNode is one KEYWORD["name",value,…] of a coordinate system in well-known
// text, in the dialect of 1999 (OGC 01-009) or of ISO 19162.
type wktNode struct {
	keyword  string   // upper case
	values   []string // unquoted strings and numbers, in order
	children []wktNode
	text     string // the node as it stands in the source
}

// wktDepth is deeper than any real coordinate system nests.
const wktDepth = 40

// parseWKT reads one node; ok is false when the text is no well-known text.
func parseWKT(text string) (node wktNode, ok bool) {
	p := wktParser{text: text}
	node, ok = p.node(0)
	p.space()
	return node, ok && p.at == len(p.text)
}

type wktParser struct {
	text string
	at   int
}

func (p *wktParser) space() {
	for p.at < len(p.text) && strings.IndexByte(" \t\r\n", p.text[p.at]) >= 0 {
		p.at++
	}
}

// node reads KEYWORD[…], or a bare word such as NORTH, which has no children.
func (p *wktParser) node(depth int) (wktNode, bool) {
	p.space()
	start := p.at
	for p.at < len(p.text) && strings.IndexByte("[](),\" \t\r\n", p.text[p.at]) < 0 {
		p.at++
	}
	n := wktNode{keyword: strings.ToUpper(p.text[start:p.at])}
	p.space()
	if n.keyword == "" || depth > wktDepth {
		return n, false
	}
	if p.at == len(p.text) || (p.text[p.at] != '[' && p.text[p.at] != '(') {
		n.text = p.text[start:p.at]
		return n, depth > 0
	}
	for {
		p.at++ // the bracket or the comma
		if !p.item(&n, depth) {
			return n, false
		}
		p.space()
		if p.at == len(p.text) {
			return n, false
		}
		switch p.text[p.at] {
		case ',':
			continue
		case ']', ')':
			p.at++
			n.text = p.text[start:p.at]
			return n, true
		}
		return n, false
	}
}

// item reads a quoted string, a number, a word or a node into n.
func (p *wktParser) item(n *wktNode, depth int) bool {
	p.space()
	if p.at == len(p.text) {
		return false
	}
	if p.text[p.at] == '"' {
		return p.quoted(n)
	}
	child, ok := p.node(depth + 1)
	if !ok {
		return false
	}
	if len(child.values) == 0 && len(child.children) == 0 && !strings.ContainsAny(child.text, "[(") {
		n.values = append(n.values, strings.TrimSpace(child.text))
		return true
	}
	n.children = append(n.children, child)
	return true
}

// quoted reads "…", in which a doubled quote stands for one.
func (p *wktParser) quoted(n *wktNode) bool {
	var b strings.Builder
	for p.at++; p.at < len(p.text); p.at++ {
		if p.text[p.at] != '"' {
			b.WriteByte(p.text[p.at])
			continue
		}
		if p.at+1 < len(p.text) && p.text[p.at+1] == '"' {
			b.WriteByte('"')
			p.at++
			continue
		}
		p.at++
		n.values = append(n.values, b.String())
		return true
	}
	return false
}

// child is the first child with one of the keywords.
func (n wktNode) child(keywords ...string) (wktNode, bool) {
	for _, c := range n.children {
		for _, k := range keywords {
			if c.keyword == k {
				return c, true
			}
		}
	}
	return wktNode{}, false
}

// find is the node itself or its first descendant with one of the keywords.
func (n wktNode) find(keywords ...string) (wktNode, bool) {
	for _, k := range keywords {
		if n.keyword == k {
			return n, true
		}
	}
	for _, c := range n.children {
		if found, ok := c.find(keywords...); ok {
			return found, true
		}
	}
	return wktNode{}, false
}

// value is the i-th string or number, "" when there is none.
func (n wktNode) value(i int) string {
	if i < len(n.values) {
		return n.values[i]
	}
	return ""
}

// number is the i-th value as a number, 0 when it is none.
func (n wktNode) number(i int) float64 {
	v, err := strconv.ParseFloat(n.value(i), 64)
	if err != nil {
		return 0
	}
	return v
}
