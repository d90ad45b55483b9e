package quantity_test

import (
	"fmt"

	"route/internal/quantity"
)

func ExampleParse() {
	bore, _ := quantity.Parse(quantity.Diameter, "1-1/4 in")
	fmt.Printf("%.5f m\n", bore)
	_, err := quantity.Parse(quantity.Length, "90")
	fmt.Println(err)
	// Output:
	// 0.03175 m
	// "90" has no unit; write a length with its unit, such as "90 ft" or "27 m"
}

func ExampleText() {
	fall := quantity.Metres(2.47)
	fmt.Println(quantity.Text(quantity.US, "the creek falls {0} within reach", fall))
	fmt.Println(quantity.Text(quantity.SI, "the creek falls {0} within reach", fall))
	// Output:
	// the creek falls 8.1 ft within reach
	// the creek falls 2.47 m within reach
}

func ExampleFormatMeasure() {
	top := quantity.Measure{Value: 412.73, Sigma: 0.09}
	foot := quantity.Measure{Value: 409.04, Sigma: 0.09}
	fmt.Println(quantity.FormatMeasure(quantity.SI, quantity.Head, top.Minus(foot, 0.5)))
	// Output: 3.69 ± 0.09 m
}
