module route

go 1.26

require (
	codeberg.org/go-pdf/fpdf v0.12.0
	github.com/airbusgeo/godal v0.0.16
	github.com/alecthomas/kong v1.17.0
	github.com/boombuler/barcode v1.1.0
	github.com/chromedp/cdproto v0.159.0
	github.com/chromedp/chromedp v0.23.0
	github.com/go-fonts/dejavu v0.3.2
	github.com/goccy/go-yaml v1.19.2
	github.com/paulmach/orb v0.14.0
	github.com/santhosh-tekuri/jsonschema/v6 v6.0.3
	github.com/tidwall/geodesic v1.52.4
	github.com/tkrajina/gpxgo v1.4.0
	golang.org/x/net v0.55.0
	golang.org/x/text v0.37.0
	gonum.org/v1/gonum v0.17.0
)

require github.com/go-json-experiment/json v0.0.0-20260213210345-44df1a37e875 // indirect
