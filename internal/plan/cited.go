package plan

import "slices"

// worksCited lists the formulas and tables that a run used, and says where
// one is only remembered.
func worksCited(p *Plan) []string {
	cited := []string{
		"Transverse Mercator on the site: Karney (2011), J. Geodesy 85, 475–485; distances: Karney (2013), J. Geodesy 87, 43–55",
		"Long profile: quantile carving after Schwanghart & Scherler (2017), Earth Surf. Dynam. 5, 821–839, eq. A12, solved exactly as a weighted isotonic regression",
		"Error of terrain heights: nugget and two exponential parts over plan distance; class values are assumptions to be replaced by measured drops",
	}
	if p.measured() {
		cited = append(cited,
			"Measured drops: exact Gaussian conditioning, Rasmussen & Williams (2006), eq. 2.23–2.24, on differences in height; kept from rising by pooled adjacent violators, Barlow et al. (1972)",
			"Errors of levels, hoses, gauges and RTK where the site file gives none: from memory and common practice, no source")
	}
	if p.Replans.Known() {
		cited = append(cited, "What the search claims too much: parametric bootstrap of a bias, Efron & Tibshirani (1993), An Introduction to the Bootstrap, ch. 10 (from memory)")
	}
	if len(p.Visits) > 0 {
		cited = append(cited, "What to measure first: expected value of one reading by the upper envelope of Frazier, Powell & Dayanik (2009), INFORMS J. Computing 21, 599–613; hours of work are common practice, no source")
	}
	for _, u := range p.DemandUses {
		if text := "Water for " + u.Use + ": " + u.Source; u.Source != ownAmount && !slices.Contains(cited, text) {
			cited = append(cited, text)
		}
	}
	if len(p.Layouts) == 0 {
		return cited
	}
	return append(cited,
		"Water: density Kell (1975), viscosity Kestin, Sokolov & Wakeham (1978); from memory, checked against printed tables",
		"Friction: 64/Re below Re 2000; Colebrook–White by Serghides (1984) above 4000; a cubic between, after Dunlop",
		"Surge: Joukowsky's relation with the wave speed of a thin elastic pipe",
		"Ram: three phases of acceleration, pumping and recoil in the parameters of Thomas (1994), Warwick DTU WP41; derived from first principles, verified against simulation, not validated against a measured pump",
		"Along the pipes: air pockets Wisner, Mohsen & Kouwen (1975), J. Hydraul. Div. ASCE 101, 243–257, and Escarameia (2007), Proc. ICE Water Management 160, 25–34 (its steps from memory); silting speed Jordan, Handbook of Gravity-Flow Water Systems, pp. 52–53",
		"Intake: screen speed of the NMFS addendum for pump intakes, 0.2 ft/s, 40 % open after NRCS Technical Note 6; cover of water ANSI/HI 9.8; settling Ferguson & Church (2004), J. Sediment. Res. 74, 933–937, for 0.2 mm and 5 minutes (from memory)",
		"Water left in the creek: Tennant (1976), Fisheries 1:4, 6–10",
		"Delivery line: least cost over 16 neighbours from the tank, straightened; slope classes are common practice, no source",
		"Shaded ground: Horn (1981), Proc. IEEE 69, 14–47",
	)
}
