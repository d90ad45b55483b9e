package ogr

import (
	"fmt"
	"strings"
)

// Style says how a layer looks when it is first opened.
type Style struct {
	// By names the field that tells the classes apart; "" when the layer has
	// one class for all features.
	By      string
	Classes []Class
	// Label names the field that is written beside each feature; "" for none.
	Label string
	// LabelFirst writes these labels before those of other layers, over their
	// signs; LabelWithin writes them only on maps of 1 : this and larger, 0 on
	// all.
	LabelFirst  bool
	LabelWithin int
}

// Class is the look of the features with one value of Style.By.
type Class struct {
	Value   string
	Title   string // for the legend
	Colour  string // "#1f6fb2"
	WidthMM float64
	Dashed  bool
	Mark    string // of points: circle, square, triangle or cross
}

// mark is the well-known name of a point's sign (OGC 05-077r4, section 11.3.2).
func (c Class) mark() string {
	if c.Mark == "" {
		return "circle"
	}
	return c.Mark
}

// sld gives the style as a Styled Layer Descriptor 1.0 (OGC 02-070), which
// most GIS read. Sizes are in pixels there, of 0.28 mm each.
func (l *Layer) sld() string {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>` + "\n" +
		`<StyledLayerDescriptor version="1.0.0" xmlns="http://www.opengis.net/sld" xmlns:ogc="http://www.opengis.net/ogc">` +
		"<NamedLayer><Name>" + l.Name + "</Name><UserStyle><FeatureTypeStyle>\n")
	for _, c := range l.Style.Classes {
		b.WriteString("<Rule><Title>" + xmlText(c.Title) + "</Title>")
		if l.Style.By != "" {
			b.WriteString("<ogc:Filter><ogc:PropertyIsEqualTo><ogc:PropertyName>" + l.Style.By + "</ogc:PropertyName><ogc:Literal>" + xmlText(c.Value) + "</ogc:Literal></ogc:PropertyIsEqualTo></ogc:Filter>")
		}
		b.WriteString(l.sldSymbol(c))
		b.WriteString("</Rule>\n")
	}
	if l.Style.Label != "" {
		b.WriteString("<Rule><TextSymbolizer><Label><ogc:PropertyName>" + l.Style.Label + "</ogc:PropertyName></Label><Font><CssParameter name=\"font-size\">10</CssParameter></Font></TextSymbolizer></Rule>\n")
	}
	b.WriteString("</FeatureTypeStyle></UserStyle></NamedLayer></StyledLayerDescriptor>\n")
	return b.String()
}

func (l *Layer) sldSymbol(c Class) string {
	const pixelMM = 0.28
	stroke := fmt.Sprintf(`<Stroke><CssParameter name="stroke">%s</CssParameter><CssParameter name="stroke-width">%.3g</CssParameter>`, c.Colour, c.WidthMM/pixelMM)
	if c.Dashed {
		stroke += `<CssParameter name="stroke-dasharray">8 4</CssParameter>`
	}
	stroke += "</Stroke>"
	fill := fmt.Sprintf(`<Fill><CssParameter name="fill">%s</CssParameter></Fill>`, c.Colour)
	switch l.Kind {
	case Line:
		return "<LineSymbolizer>" + stroke + "</LineSymbolizer>"
	case Polygon:
		faint := fmt.Sprintf(`<Fill><CssParameter name="fill">%s</CssParameter><CssParameter name="fill-opacity">0.3</CssParameter></Fill>`, c.Colour)
		return "<PolygonSymbolizer>" + faint + stroke + "</PolygonSymbolizer>"
	}
	return fmt.Sprintf("<PointSymbolizer><Graphic><Mark><WellKnownName>%s</WellKnownName>%s</Mark><Size>%.3g</Size></Graphic></PointSymbolizer>", c.mark(), fill, c.WidthMM/pixelMM)
}

// qml gives the style in the form that QGIS takes from the layer_styles table
// of a GeoPackage: a renderer with one symbol or one for each class, and
// simple labels.
func (l *Layer) qml() string {
	var b strings.Builder
	b.WriteString("<!DOCTYPE qgis PUBLIC 'http://mrcc.com/qgis.dtd' 'SYSTEM'>\n<qgis version=\"3.22.0\" styleCategories=\"Symbology|Labeling\"" +
		fmt.Sprintf(" labelsEnabled=\"%d\">\n", map[bool]int{true: 1}[l.Style.Label != ""]))
	if l.Style.By == "" {
		b.WriteString(`<renderer-v2 type="singleSymbol">` + "\n<symbols>\n")
	} else {
		b.WriteString(`<renderer-v2 type="categorizedSymbol" attr="` + l.Style.By + "\">\n<categories>\n")
		for i, c := range l.Style.Classes {
			fmt.Fprintf(&b, "<category symbol=\"%d\" value=\"%s\" label=\"%s\" render=\"true\"/>\n", i, xmlText(c.Value), xmlText(c.Title))
		}
		b.WriteString("</categories>\n<symbols>\n")
	}
	for i, c := range l.Style.Classes {
		l.qmlSymbol(&b, i, c)
	}
	b.WriteString("</symbols>\n</renderer-v2>\n")
	if l.Style.Label != "" {
		b.WriteString(`<labeling type="simple"><settings calloutType="simple"><text-style fieldName="` + l.Style.Label + `" isExpression="0" fontSize="8" fontSizeUnit="Point" textColor="34,34,34,255"><text-buffer bufferDraw="1" bufferSize="0.8" bufferSizeUnits="MM" bufferColor="255,255,255,255"/></text-style>`)
		priority, obstacle := 5, 1
		if l.Style.LabelFirst {
			priority, obstacle = 10, 0
		}
		fmt.Fprintf(&b, `<placement placement="0" dist="0.5" distUnits="MM" priority="%d"/>`, priority)
		// An attribute scaleMax is the smallest scale at which QGIS writes labels.
		fmt.Fprintf(&b, `<rendering drawLabels="1" obstacle="%d" scaleVisibility="%d" scaleMin="1" scaleMax="%d"/>`, obstacle, min(l.Style.LabelWithin, 1), l.Style.LabelWithin)
		b.WriteString("</settings></labeling>\n")
	}
	b.WriteString("</qgis>\n")
	return b.String()
}

func (l *Layer) qmlSymbol(b *strings.Builder, number int, c Class) {
	var r, g, blue int
	// A colour that cannot be read is black.
	_, _ = fmt.Sscanf(c.Colour, "#%02x%02x%02x", &r, &g, &blue)
	colour := fmt.Sprintf("%d,%d,%d", r, g, blue)
	kind, class, props := "line", "SimpleLine", [][2]string{{"line_color", colour + ",255"}, {"line_width", fmt.Sprintf("%.3g", c.WidthMM)}, {"line_width_unit", "MM"}, {"line_style", map[bool]string{true: "dash", false: "solid"}[c.Dashed]}}
	switch l.Kind {
	case Point:
		kind, class = "marker", "SimpleMarker"
		props = [][2]string{{"name", c.mark()}, {"color", colour + ",255"}, {"outline_color", "255,255,255,255"}, {"size", fmt.Sprintf("%.3g", c.WidthMM)}, {"size_unit", "MM"}}
	case Polygon:
		kind, class = "fill", "SimpleFill"
		props = [][2]string{{"color", colour + ",76"}, {"outline_color", colour + ",255"}, {"outline_width", fmt.Sprintf("%.3g", c.WidthMM)}, {"outline_width_unit", "MM"}, {"style", "solid"}}
	}
	fmt.Fprintf(b, "<symbol name=\"%d\" type=\"%s\" alpha=\"1\" clip_to_extent=\"1\"><layer class=\"%s\" enabled=\"1\" locked=\"0\" pass=\"0\">\n<Option type=\"Map\">", number, kind, class)
	for _, p := range props {
		fmt.Fprintf(b, `<Option name="%s" type="QString" value="%s"/>`, p[0], p[1])
	}
	b.WriteString("</Option>\n")
	for _, p := range props { // for versions before 3.20
		fmt.Fprintf(b, `<prop k="%s" v="%s"/>`, p[0], p[1])
	}
	b.WriteString("\n</layer></symbol>\n")
}

var xmlMarks = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

func xmlText(s string) string { return xmlMarks.Replace(s) }
