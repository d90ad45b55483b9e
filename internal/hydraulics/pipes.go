package hydraulics

// psi is one pound-force per square inch in metres of water of 1000 kg/m³,
// the conventional metre of water.
const psi = 6894.757293168 / 9806.65

// inch in metres.
const inch = 0.0254

// Short-load moduli in Pa. See docs/hydraulics.md for where each was read.
const (
	steelModulus  = 200e9
	copperModulus = 110e9
	pvcModulus    = 2.76e9  // 400 000 psi, Uni-Bell Handbook, 5th ed.
	peModulus     = 1.0e9   // instantaneous, middle of 0.75–1.25 GPa (ISO 527); PPI gives 150 000 psi (from memory)
	pexModulus    = 0.465e9 // at 20 °C
)

// Roughness in metres of new, clean pipe.
const (
	smoothRoughness     = 0.0015e-3 // drawn copper, plastics: Binder 1973
	galvanizedRoughness = 0.15e-3   // Hydraulic Institute; Moody 1944
)

// derating gives the share of the rating that is left at a temperature, by
// straight lines between the points of a table; below the first point it is 1,
// beyond the last the pipe must not be used.
type derating []struct{ celsius, factor float64 }

// The deratings with temperature.
var (
	// ASTM D1785 practice, published in °F.
	pvcDerating = derating{{fahrenheit(73), 1}, {fahrenheit(80), 0.88}, {fahrenheit(90), 0.75}, {fahrenheit(100), 0.62},
		{fahrenheit(110), 0.51}, {fahrenheit(120), 0.40}, {fahrenheit(130), 0.31}, {fahrenheit(140), 0.22}}
	// ISO 4427-1:2007 annex A, from memory.
	pe100Derating = derating{{20, 1}, {30, 0.87}, {40, 0.74}}
	// PPI TR-9 service factors for PE4710, from memory.
	peDerating = derating{{fahrenheit(80), 1}, {fahrenheit(90), 0.9}, {fahrenheit(100), 0.8}, {fahrenheit(140), 0.5}}
	// ASTM F876: 160 psi at 73 °F (from memory), 100 psi at 180 °F, 80 psi at 200 °F (from memory).
	pexDerating = derating{{fahrenheit(73), 1}, {fahrenheit(180), 100.0 / 160}, {fahrenheit(200), 80.0 / 160}}
	// Copper Development Association: allowable stress of annealed tube 6000 psi
	// at 100 °F, 5100 at 150 °F, 4900 at 200 °F.
	copperDerating = derating{{fahrenheit(100), 1}, {fahrenheit(150), 5100.0 / 6000}, {fahrenheit(200), 4900.0 / 6000}}
	steelDerating  = derating{{65, 1}} // fittings of class 150: 300 psi to 150 °F, from memory
)

func fahrenheit(f float64) float64 { return (f - 32) / 1.8 }

// family is a run of sizes under one standard. Dimensions stand in the unit of
// the standard.
type family struct {
	name, standard, source string
	unit                   float64 // metres in the unit of the rows
	roughness, modulus, c  float64
	rigid                  bool
	derating               derating
	sizes                  []size
}

// size is one row: outside 0 means made to its inside diameter.
type size struct {
	name                  string
	outside, wall, inside float64
	rating                float64 // psi for US families, bar for metric ones
}

// Where a table's rating counts in bar the unit is a millimetre.
func (f family) ratingM(s size) float64 {
	if f.unit == inch {
		return s.rating * psi
	}
	return s.rating * 1e5 / 9806.65
}

const (
	sourcePVC      = "ASTM D1785 tables 1 and 2 as reprinted; mean inside diameter with mean wall"
	sourcePVCSDR   = "ASTM D2241: wall = outside/SDR, at least 0.060 in; rating 2·HDS/(SDR−1), HDS 2000 psi; mean inside diameter = outside − 2.12·wall (from memory)"
	sourcePESIDR   = "ASTM D2239: inside diameters from memory; wall = inside/SIDR, at least 0.060 in; rating as printed for PE4710 pipe"
	sourcePEDR     = "ASTM D3035 tables as reprinted; rating 2·HDS/(DR−1), HDS 1000 psi; mean inside diameter = outside − 2.12·wall (PPI convention, from memory)"
	sourcePE100    = "ISO 4427-2:2007 minimum walls as reprinted; inside = dn − 2·wall; PN = 20·8 MPa/(SDR−1)"
	sourcePEX      = "ASTM F876/F877 as reprinted; rating 160 psi at 73 °F from memory"
	sourceSteel40  = "ASME B36.10M schedule 40; rating is that of class 150 malleable fittings, 300 psi (from memory)"
	sourceSteel80  = "ASME B36.10M schedule 80; rating is that of class 150 malleable fittings, 300 psi (from memory)"
	sourceCopperL  = "ASTM B88 type L, as reprinted; rating of annealed tube at 100 °F, from the reprinted one at 150 °F by the allowable stresses"
	outsideToMean  = 2.12
	leastSDRWallIn = 0.060
)

// families holds every pipe that the program knows.
var families = []family{
	{name: "PVC Sch 40", standard: "ASTM D1785", source: sourcePVC, unit: inch, roughness: smoothRoughness, modulus: pvcModulus, c: 150, derating: pvcDerating, sizes: []size{
		{"1/2 in", 0.840, 0.109, 0.608, 600}, {"3/4 in", 1.050, 0.113, 0.810, 480}, {"1 in", 1.315, 0.133, 1.033, 450},
		{"1-1/4 in", 1.660, 0.140, 1.364, 370}, {"1-1/2 in", 1.900, 0.145, 1.592, 330}, {"2 in", 2.375, 0.154, 2.049, 280}}},
	{name: "PVC Sch 80", standard: "ASTM D1785", source: sourcePVC, unit: inch, roughness: smoothRoughness, modulus: pvcModulus, c: 150, derating: pvcDerating, sizes: []size{
		{"1/2 in", 0.840, 0.147, 0.528, 850}, {"3/4 in", 1.050, 0.154, 0.724, 690}, {"1 in", 1.315, 0.179, 0.935, 630},
		{"1-1/4 in", 1.660, 0.191, 1.256, 520}, {"1-1/2 in", 1.900, 0.200, 1.476, 470}, {"2 in", 2.375, 0.218, 1.913, 400}}},
	{name: "PVC SDR 13.5", standard: "ASTM D2241", source: sourcePVCSDR, unit: inch, roughness: smoothRoughness, modulus: pvcModulus, c: 150, derating: pvcDerating, sizes: sdrSizes(13.5, 315, "1/2 in")},
	{name: "PVC SDR 21", standard: "ASTM D2241", source: sourcePVCSDR, unit: inch, roughness: smoothRoughness, modulus: pvcModulus, c: 150, derating: pvcDerating, sizes: sdrSizes(21, 200, "3/4 in", "1 in", "1-1/4 in", "1-1/2 in", "2 in")},
	{name: "PVC SDR 26", standard: "ASTM D2241", source: sourcePVCSDR, unit: inch, roughness: smoothRoughness, modulus: pvcModulus, c: 150, derating: pvcDerating, sizes: sdrSizes(26, 160, "1 in", "1-1/4 in", "1-1/2 in", "2 in")},

	// SIDR 15 is printed with 100 psi although the formula gives 125: the
	// print line on the pipe rules. SIDR 19 likewise (80 and 100).
	{name: "PE SIDR 7", standard: "ASTM D2239", source: sourcePESIDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: sidrSizes(7, 250)},
	{name: "PE SIDR 9", standard: "ASTM D2239", source: sourcePESIDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: sidrSizes(9, 200)},
	{name: "PE SIDR 11.5", standard: "ASTM D2239", source: sourcePESIDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: sidrSizes(11.5, 160)},
	{name: "PE SIDR 15", standard: "ASTM D2239", source: sourcePESIDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: sidrSizes(15, 100)},
	{name: "PE SIDR 19", standard: "ASTM D2239", source: sourcePESIDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: sidrSizes(19, 80)},

	{name: "PE DR 13.5", standard: "ASTM D3035", source: sourcePEDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: drSizes(160, 0.078, 0.097, 0.123, 0.141, 0.176)},
	{name: "PE DR 11", standard: "ASTM D3035", source: sourcePEDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: drSizes(200, 0.095, 0.120, 0.151, 0.173, 0.216)},
	{name: "PE DR 9", standard: "ASTM D3035", source: sourcePEDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: drSizes(250, 0.117, 0.146, 0.184, 0.211, 0.264)},
	{name: "PE DR 7", standard: "ASTM D3035", source: sourcePEDR, unit: inch, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: peDerating, sizes: drSizes(333, 0.150, 0.188, 0.237, 0.271, 0.339)},

	{name: "PE100 SDR 17", standard: "ISO 4427-2", source: sourcePE100, unit: 1e-3, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: pe100Derating, sizes: pe100Sizes(10, 32, 2.0, 2.4, 3.0, 3.8, 4.5, 5.4, 6.6)},
	{name: "PE100 SDR 13.6", standard: "ISO 4427-2", source: sourcePE100, unit: 1e-3, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: pe100Derating, sizes: pe100Sizes(12.5, 25, 2.0, 2.4, 3.0, 3.7, 4.7, 5.6, 6.7, 8.1)},
	{name: "PE100 SDR 11", standard: "ISO 4427-2", source: sourcePE100, unit: 1e-3, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: pe100Derating, sizes: pe100Sizes(16, 20, 2.0, 2.3, 3.0, 3.7, 4.6, 5.8, 6.8, 8.2, 10.0)},
	{name: "PE100 SDR 9", standard: "ISO 4427-2", source: sourcePE100, unit: 1e-3, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: pe100Derating, sizes: pe100Sizes(20, 20, 2.3, 3.0, 3.6, 4.5, 5.6, 7.1, 8.4, 10.1, 12.3)},
	{name: "PE100 SDR 7.4", standard: "ISO 4427-2", source: sourcePE100, unit: 1e-3, roughness: smoothRoughness, modulus: peModulus, c: 150, derating: pe100Derating, sizes: pe100Sizes(25, 20, 3.0, 3.5, 4.4, 5.5, 6.9, 8.6, 10.3, 12.3, 15.1)},

	{name: "PEX CTS", standard: "ASTM F876", source: sourcePEX, unit: inch, roughness: smoothRoughness, modulus: pexModulus, c: 150, derating: pexDerating, sizes: []size{
		{"3/8 in", 0.500, 0.070, 0.360, 160}, {"1/2 in", 0.625, 0.070, 0.485, 160}, {"5/8 in", 0.750, 0.083, 0.584, 160},
		{"3/4 in", 0.875, 0.097, 0.681, 160}, {"1 in", 1.125, 0.125, 0.875, 160}}},

	{name: "steel Sch 40", standard: "ASTM A53", source: sourceSteel40, unit: 1e-3, roughness: galvanizedRoughness, modulus: steelModulus, c: 120, rigid: true, derating: steelDerating, sizes: []size{
		{"1/2 in", 21.3, 2.77, 15.76, steelBar}, {"3/4 in", 26.7, 2.87, 20.96, steelBar}, {"1 in", 33.4, 3.38, 26.64, steelBar},
		{"1-1/4 in", 42.2, 3.56, 35.08, steelBar}, {"1-1/2 in", 48.3, 3.68, 40.94, steelBar}, {"2 in", 60.3, 3.91, 52.48, steelBar},
		{"2-1/2 in", 73.0, 5.16, 62.68, steelBar}, {"3 in", 88.9, 5.49, 77.92, steelBar}}},
	{name: "steel Sch 80", standard: "ASTM A53", source: sourceSteel80, unit: 1e-3, roughness: galvanizedRoughness, modulus: steelModulus, c: 120, rigid: true, derating: steelDerating, sizes: []size{
		{"1/2 in", 21.3, 3.73, 13.84, steelBar}, {"3/4 in", 26.7, 3.91, 18.88, steelBar}, {"1 in", 33.4, 4.55, 24.30, steelBar},
		{"1-1/4 in", 42.2, 4.85, 32.50, steelBar}, {"1-1/2 in", 48.3, 5.08, 38.14, steelBar}, {"2 in", 60.3, 5.54, 49.22, steelBar},
		{"2-1/2 in", 73.0, 7.01, 58.98, steelBar}, {"3 in", 88.9, 7.62, 73.66, steelBar}}},

	{name: "copper L", standard: "ASTM B88", source: sourceCopperL, unit: inch, roughness: smoothRoughness, modulus: copperModulus, c: 140, rigid: true, derating: copperDerating, sizes: []size{
		{"1/2 in", 0.625, 0.040, 0.545, 722}, {"3/4 in", 0.875, 0.045, 0.785, 582}, {"1 in", 1.125, 0.050, 1.025, 494},
		{"1-1/4 in", 1.375, 0.055, 1.265, 439}, {"1-1/2 in", 1.625, 0.060, 1.505, 408}, {"2 in", 2.125, 0.070, 1.985, 364},
		{"2-1/2 in", 2.625, 0.080, 2.465, 336}, {"3 in", 3.125, 0.090, 2.945, 317}}},
}

// steelBar is 300 psi in bar.
const steelBar = 20.684

// ipsOutside is the outside diameter in inches of iron pipe sizes, ASME B36.10M.
var ipsOutside = map[string]float64{"1/2 in": 0.840, "3/4 in": 1.050, "1 in": 1.315, "1-1/4 in": 1.660, "1-1/2 in": 1.900, "2 in": 2.375}

func sdrSizes(sdr, rating float64, names ...string) []size {
	sizes := make([]size, len(names))
	for i, n := range names {
		od := ipsOutside[n]
		wall := roundTo(max(od/sdr, leastSDRWallIn), 3)
		sizes[i] = size{n, od, wall, od - outsideToMean*wall, rating}
	}
	return sizes
}

func sidrSizes(sidr, rating float64) []size {
	rows := []struct {
		name   string
		inside float64
	}{{"1/2 in", 0.622}, {"3/4 in", 0.824}, {"1 in", 1.049}, {"1-1/4 in", 1.380}, {"1-1/2 in", 1.610}, {"2 in", 2.067}}
	sizes := make([]size, len(rows))
	for i, r := range rows {
		sizes[i] = size{r.name, 0, roundTo(max(r.inside/sidr, leastSDRWallIn), 3), r.inside, rating}
	}
	return sizes
}

func drSizes(rating float64, walls ...float64) []size {
	names := []string{"3/4 in", "1 in", "1-1/4 in", "1-1/2 in", "2 in"}
	sizes := make([]size, len(names))
	for i, n := range names {
		od := ipsOutside[n]
		sizes[i] = size{n, od, walls[i], od - outsideToMean*walls[i], rating}
	}
	return sizes
}

func pe100Sizes(pn float64, smallest int, walls ...float64) []size {
	names := map[int]string{20: "DN20", 25: "DN25", 32: "DN32", 40: "DN40", 50: "DN50", 63: "DN63", 75: "DN75", 90: "DN90", 110: "DN110"}
	var sizes []size
	for _, dn := range []int{20, 25, 32, 40, 50, 63, 75, 90, 110} {
		if dn < smallest {
			continue
		}
		wall := walls[len(sizes)]
		sizes = append(sizes, size{names[dn], float64(dn), wall, float64(dn) - 2*wall, pn})
	}
	return sizes
}
