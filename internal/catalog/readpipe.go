package catalog

import (
	"fmt"
	"math"
	"strings"
	"sync"

	"route/internal/hydraulics"
	"route/internal/quantity"
)

// metreOfWaterPa is the conventional metre of water, 1000 kg/m³ times standard
// gravity.
const metreOfWaterPa = 1000 * hydraulics.Gravity

// material is a pipe of a standard that shares roughness, modulus and the
// derating with temperature with a pipe given by its dimensions alone, and how
// such pipe is joined.
type material struct{ like, joint string }

var materials = map[string]material{
	"pe":     {"PE100 SDR 11 DN32", JointCompression},
	"pvc":    {"PVC Sch 40 1 in", JointSolvent},
	"pex":    {"PEX CTS 1 in", JointCompression},
	"steel":  {"steel Sch 40 1 in", JointThread},
	"copper": {"copper L 1 in", JointSolvent},
}

// productByName finds a standard pipe: at once by its exact name, else as
// people write it.
func productByName(name string) (hydraulics.Product, error) {
	if p, ok := standardPipes()[name]; ok {
		return p, nil
	}
	return hydraulics.ProductByName(name)
}

var standardPipes = sync.OnceValue(func() map[string]hydraulics.Product {
	pipes := map[string]hydraulics.Product{}
	for _, p := range hydraulics.Products() {
		pipes[p.Name] = p
	}
	return pipes
})

// pipe completes an item that is a pipe.
func (p *reader) pipe(it *Item) error {
	product := p.get("product")
	byDimensions := p.get("inside") != "" || p.get("wall") != "" || p.get("material") != "" || p.get("rating") != ""
	switch {
	case byDimensions:
		if err := p.ownProduct(it, product); err != nil {
			return err
		}
	case product != "":
		found, err := productByName(product)
		if err != nil {
			return p.fault("product", "price_product", fmt.Sprintf("there is no standard pipe %q", product),
				"write its name as in the default catalog, for example PE SIDR 15 1 in, or give inside, wall and material")
		}
		it.Pipe = &found
		p.likeOthers(it)
	case it.Pipe == nil:
		return p.fault("product", "price_product", fmt.Sprintf("the pipe %q needs a product, or its inside, wall and material", it.ID),
			"for example PE SIDR 15 1 in; or inside 26.6 mm, wall 1.8 mm, material pe")
	}
	if it.PackM == 0 {
		return p.fault("pack", "price_pack", fmt.Sprintf("the pipe %q needs the length of a pack", it.ID), "for example 100 ft or 50 m")
	}
	if it.Use == 0 {
		return p.fault("use", "price_use", fmt.Sprintf("the pipe %q has no use", it.ID), "write supply, drive, delivery or standpipe, several with blanks between")
	}
	if it.Use&UseDrive != 0 && !it.Pipe.Pipe.Rigid {
		return p.fault("use", "price_use", fmt.Sprintf("the pipe %q is not rigid and cannot be a drive pipe", it.ID), "a drive pipe is of metal")
	}
	if it.Size == "" {
		it.Size = it.Pipe.Size
	}
	if it.Standard == "" {
		it.Standard = it.Pipe.Standard
	}
	if it.Joint == "" {
		it.Joint = jointOf(it.Pipe.Family)
	}
	return nil
}

// likeOthers gives a new pack of a pipe that the catalog has already the use
// and the trade of the other packs, where the list does not say otherwise.
func (p *reader) likeOthers(it *Item) {
	var others []*Item
	for _, o := range p.base.items {
		if o.Kind == KindPipe && o.Pipe.Name == it.Pipe.Name {
			others = append(others, o)
		}
	}
	if len(others) == 0 {
		return
	}
	if it.Use == 0 {
		it.Use = others[0].Use
	}
	for _, o := range others {
		if o.Trade != others[0].Trade {
			return // sold in both
		}
	}
	if it.Trade == "" {
		it.Trade = others[0].Trade
	}
}

// ownProduct makes a product from dimensions.
func (p *reader) ownProduct(it *Item, name string) error {
	if name == "" {
		name = it.ID
	}
	if _, standard := standardPipes()[name]; standard {
		return p.fault("product", "price_product", fmt.Sprintf("%q is a standard pipe and has its dimensions already", name),
			"leave inside, wall, material and rating empty, or give the pipe another product name")
	}
	word := strings.ToLower(p.get("material"))
	m, ok := materials[word]
	if !ok {
		return p.fault("material", "price_material", fmt.Sprintf("%q is not a material of pipe", word), "write pe, pvc, pex, steel or copper")
	}
	product, err := productByName(m.like)
	if err != nil {
		panic("catalog: " + err.Error())
	}
	product.Name, product.Family, product.Size = name, name, it.Size
	product.Standard, product.Source = it.Standard, it.Source
	pipe := &product.Pipe
	pipe.Inside, pipe.Wall, pipe.Rating = 0, 0, 0
	if err := p.quantity("inside", quantity.Diameter, &pipe.Inside, 0.001, 2, "26.6 mm"); err != nil {
		return err
	}
	if err := p.quantity("wall", quantity.Diameter, &pipe.Wall, 0.0002, 0.2, "1.8 mm"); err != nil {
		return err
	}
	for _, needed := range []struct {
		column string
		m      float64
	}{{"inside", pipe.Inside}, {"wall", pipe.Wall}} {
		if needed.m == 0 {
			return p.fault(needed.column, "price_dimensions", fmt.Sprintf("the pipe %q has no %s", it.ID, needed.column), "give inside and wall, each with its unit")
		}
	}
	var ratingPa float64
	if err := p.quantity("rating", quantity.Pressure, &ratingPa, 1000, 1e9, "100 psi or 10 bar"); err != nil {
		return err
	}
	pipe.Rating = ratingPa / metreOfWaterPa
	if it.Joint == "" {
		it.Joint = m.joint
	}
	product.OutsideM = pipe.Inside + 2*pipe.Wall
	it.Pipe = &product
	return p.sameProduct(it)
}

// sameProduct refuses one product name with two sets of dimensions: their
// packs would be mixed in one run.
func (p *reader) sameProduct(it *Item) error {
	if p.products == nil {
		p.products = map[string]hydraulics.Pipe{}
	}
	first, seen := p.products[it.Pipe.Name]
	if !seen {
		p.products[it.Pipe.Name] = it.Pipe.Pipe
		return nil
	}
	a, b := first, it.Pipe.Pipe
	if math.Abs(a.Inside-b.Inside) > 1e-9 || math.Abs(a.Wall-b.Wall) > 1e-9 || a.YoungModulus != b.YoungModulus || a.Rating != b.Rating {
		return p.fault("inside", "price_dimensions", fmt.Sprintf("the product %q has other dimensions further up", it.Pipe.Name), "give pipes that differ different product names")
	}
	return nil
}
