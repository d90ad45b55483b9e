package export

import "strings"

// escape makes text safe between the tags and inside the quotes of XML. It
// drops the characters that XML 1.0 has no way to write (section 2.2).
func escape(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '"':
			b.WriteString("&#34;")
		case r == '\'':
			b.WriteString("&#39;")
		case r == '\t' || r == '\n' || r == '\r':
			b.WriteByte(' ')
		case r < ' ' || r == 0xfffe || r == 0xffff || r == 0x7f:
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
