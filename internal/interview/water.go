package interview

import (
	"fmt"
	"strconv"
	"strings"

	"route/internal/quantity"
)

func (t *talk) askFlow() error {
	t.say("\nThe plan counts on what the creek carries in the driest month. Lead the whole creek\nthrough a pipe or over a board into a bucket and take the time until it is full; do it\nthree times or more.")
	fallback, unit := "20 L", "L"
	if t.us() {
		fallback, unit = "5 gal", "gal"
	}
	return t.until("How much does the bucket hold? (Or say the flow outright, such as 8 L/s or 120 gpm.)", fallback, func(answer string) error {
		answer = t.withUnit(answer, unit)
		if _, err := quantity.Parse(quantity.Flow, answer); err == nil {
			t.flow = "  low: " + quote(answer) + "\n"
			return t.tellFlow()
		}
		if _, err := quantity.Parse(quantity.Volume, answer); err != nil {
			return err
		}
		return t.askTimes(answer)
	})
}

// askTimes asks for how long the bucket took to fill.
func (t *talk) askTimes(volume string) error {
	return t.until("In how many seconds was it full? (Every reading, such as 11, 12, 10.5)", "", func(answer string) error {
		var seconds []string
		for _, word := range strings.FieldsFunc(answer, func(r rune) bool { return r == ',' || r == ';' || r == ' ' }) {
			word = strings.TrimSuffix(strings.TrimSuffix(word, "s"), "sec")
			if word == "" {
				continue
			}
			s, err := strconv.ParseFloat(word, 64)
			if err != nil || !(s > 0) || s > 3600 {
				return refuse(fmt.Sprintf("%q is not a number of seconds", word), "type the readings with commas between, such as 11, 12, 10.5")
			}
			seconds = append(seconds, quote(strconv.FormatFloat(s, 'g', -1, 64)+" s"))
		}
		if len(seconds) == 0 {
			return refuse("there is no reading", "fill the bucket three times and type the seconds, such as 11, 12, 10.5")
		}
		t.flow = "  bucket: {volume: " + quote(volume) + ", seconds: [" + strings.Join(seconds, ", ") + "]}\n"
		return t.tellFlow()
	})
}

// tellFlow reads the flow and says what it is.
func (t *talk) tellFlow() error {
	site, err := t.site("creek_flow", flowPart(t.flow, ""))
	if err != nil {
		return err
	}
	t.say("  That is %s.", quantity.Format(t.system(), quantity.Flow, site.LowFlow))
	return nil
}

// flowPart is the creek's flow in the site file.
func flowPart(flow, share string) string {
	part := "\n# What the creek carries in the driest month, and how much of it may be taken.\ncreek_flow:\n" + flow
	if share != "" {
		part += "  take_at_most: " + quote(share) + "\n"
	}
	return part
}

func (t *talk) askShare() error {
	return t.until("How much of that may be taken, at most? (The rest stays in the creek beside the pipes.)", "40 %", func(answer string) error {
		if _, err := strconv.ParseFloat(answer, 64); err == nil {
			answer += " %"
		}
		_, err := t.keep("creek_flow", flowPart(t.flow, answer))
		return err
	})
}

func (t *talk) askDemand() error {
	return t.until("How many people use the water? (Or say the whole amount a day, such as 1500 L/day or 400 gal/day.)", "4", func(answer string) error {
		people, err := strconv.Atoi(answer)
		if err != nil {
			return t.keepDemand("demand: " + quote(answer) + "\n")
		}
		if people < 0 {
			return refuse("that is less than nobody", "type a number, such as 4, or 0")
		}
		uses := ""
		if people > 0 {
			uses = fmt.Sprintf("  - {use: people, count: %d}\n", people)
		}
		return t.askAnimals(uses)
	})
}

func (t *talk) askAnimals(people string) error {
	return t.until("How many animals? (Such as 20 sheep, 12 hens, 1 horse, 2 dairy cows.)", "none", func(answer string) error {
		animals := ""
		if !none(answer) {
			for _, group := range strings.Split(answer, ",") {
				number, kind, _ := strings.Cut(strings.TrimSpace(group), " ")
				count, err := strconv.Atoi(number)
				if err != nil || count < 1 || strings.TrimSpace(kind) == "" {
					return refuse(fmt.Sprintf("%q is not a number of animals", strings.TrimSpace(group)), "type numbers and kinds with commas between, such as 20 sheep, 12 hens")
				}
				animals += fmt.Sprintf("  - {use: %s, count: %d}\n", quote(strings.TrimSpace(kind)), count)
			}
		}
		if animals != "" {
			if _, err := t.site("demand", "demand:\n"+animals); err != nil {
				return err
			}
		}
		return t.askGarden(people + animals)
	})
}

func (t *talk) askGarden(uses string) error {
	return t.until("How large is the garden that is watered? (Such as 150 m2 or 1500 ft2.)", "none", func(answer string) error {
		garden := ""
		if !none(answer) {
			garden = "  - {use: garden, area: " + quote(answer) + "}\n"
		}
		if uses+garden == "" {
			return refuse("nobody and nothing wants water", "say how large the garden is, or type back and say how many people or animals there are")
		}
		return t.keepDemand("demand:\n" + uses + garden)
	})
}

func none(answer string) bool {
	switch strings.ToLower(answer) {
	case "", "0", "no", "none", "-":
		return true
	}
	return false
}

// keepDemand reads what is wanted and says what it adds up to.
func (t *talk) keepDemand(part string) error {
	site, err := t.keep("demand", "\n# The water wanted, a day.\n"+part)
	if err != nil {
		return err
	}
	t.say("  That is %s.", t.perDay(site.Demand))
	return nil
}
