package main

import (
	"context"
	"flag"
	"fmt"
	"math"
	"strings"

	"nestround/config/diag"
	"nestround/scheduler/moisture"
	"nestround/tasks/husbandry"
)

const (
	dustCaution = "Wear a dust mask and wet it before you stir: the dust harms lungs."
	handCaution = "Wash your hands before and after, and mix outside the kitchen. No substrate with fertiliser or insecticide in it."
)

// setMix declares the flags of mix, which say what goes into a tub. The verb
// needs no books.
func setMix(f *flag.FlagSet) func(context.Context, *call) error {
	substrate := f.String("substrate", "", "`what` is made damp: "+strings.Join(substrateNames(), ", "))
	ratio := f.String("ratio", "", "parts of water to parts of dry substrate, such as 1:1; by mass for vermiculite and perlite, by volume for sand and peat")
	water := f.String("water", "", "so much `water` in one tub, such as 120g or 120ml")
	dry := f.String("dry", "", "or so much `dry` substrate, such as 100g; of sand and peat also 1l")
	together := f.String("together", "", "or so `much` of both, such as 300g")
	tubs := f.Int("tubs", 1, "for so many tubs, 1 to 10000")
	units := f.String("units", "", "metric or us, for what is printed; unless said, as the amount is given")
	return func(_ context.Context, c *call) error {
		m, err := readMix(*substrate, *ratio, map[string]string{"water": *water, "dry": *dry, "together": *together})
		if err != nil {
			return err
		}
		if *tubs < 1 || *tubs > 10000 {
			return &usageError{fmt.Sprintf("--tubs %d is not from 1 to 10000", *tubs), ""}
		}
		u := husbandry.Units(*units)
		if u == "" {
			u = unitsOf(*water + *dry + *together) // only one of the three is given
		}
		if u != husbandry.Metric && u != husbandry.US {
			return &usageError{fmt.Sprintf("--units %q is neither metric nor us", *units), ""}
		}
		if c.json {
			return c.printJSON(m.json(*tubs))
		}
		c.printMix(m, *tubs, u)
		return nil
	}
}

// unitsOf returns the system of units in which an amount is written. An amount
// in ounces or fluid ounces asks for US units.
func unitsOf(amount string) husbandry.Units {
	if a := strings.ToLower(amount); strings.Contains(a, "oz") || strings.Contains(a, "ounce") {
		return husbandry.US
	}
	return husbandry.Metric
}

// mix is the requested mixture for one tub.
type mix struct {
	moisture.Substrate
	ratio moisture.Ratio
	one   moisture.Portion
}

func substrateNames() []string {
	var names []string
	for _, s := range moisture.Substrates() {
		names = append(names, s.Name)
	}
	return names
}

// readMix reads the flags. amounts maps the names of the amount flags to their
// values; exactly one has a value.
func readMix(substrate, ratio string, amounts map[string]string) (m mix, err error) {
	if m.Substrate, err = readSubstrate(substrate); err != nil {
		return m, err
	}
	if ratio == "" {
		return m, &usageError{"say the ratio of water to dry " + m.Name, fmt.Sprintf("common practice is about --ratio %s, %s; your species may want another", m.Usual, m.by())}
	}
	if m.ratio, err = moisture.ParseRatio(ratio); err != nil {
		return m, &usageError{"--ratio: " + err.Error(), "water comes first"}
	}
	var given []string
	for _, name := range []string{"water", "dry", "together"} {
		if amounts[name] != "" {
			given = append(given, name)
		}
	}
	if len(given) != 1 {
		return m, &usageError{"say one amount: --water, --dry or --together", "for example: --water 120g"}
	}
	flag, amount := given[0], amounts[given[0]]
	m.one, err = m.portion(flag, amount)
	if err == nil && (m.one.Water < 1 || m.one.Water+m.one.Dry > 100_000) {
		err = fmt.Errorf("%q is not from a gram of water to 100 kg in a tub", amount)
	}
	if err != nil {
		return m, &usageError{"--" + flag + ": " + err.Error(), ""}
	}
	return m, nil
}

// readSubstrate finds a substrate by its name.
func readSubstrate(name string) (moisture.Substrate, error) {
	if name == "" {
		return moisture.Substrate{}, &usageError{"say which substrate", "for example: nestround mix --substrate vermiculite --ratio 1:1 --water 120g"}
	}
	for _, s := range moisture.Substrates() {
		if strings.EqualFold(s.Name, name) {
			return s, nil
		}
	}
	hint := "there are " + strings.Join(substrateNames(), ", ")
	if s := diag.Suggest(strings.ToLower(name), substrateNames()); len(s) > 0 {
		hint = "did you mean: --substrate " + s[0]
	}
	return moisture.Substrate{}, &usageError{fmt.Sprintf("unknown substrate %q", name), hint}
}

// portion reads the amount of a flag and returns the portion for one tub.
func (m mix) portion(flag, amount string) (moisture.Portion, error) {
	switch flag {
	case "water":
		g, err := husbandry.ParseWater(amount)
		return m.WithWater(m.ratio, g), err
	case "dry":
		if ml, err := husbandry.ParseVolume(amount); m.ByVolume && err == nil {
			return m.WithVolume(m.ratio, ml), nil
		}
		g, err := husbandry.ParseMass(amount)
		return m.WithDry(m.ratio, g), err
	}
	g, err := husbandry.ParseMass(amount) // the mass of water and substrate together
	return m.WithBoth(m.ratio, g), err
}

func (m mix) by() string {
	if m.ByVolume {
		return "by volume"
	}
	return "by mass"
}

func (m mix) cautions() []string {
	if m.Dusty {
		return []string{dustCaution, handCaution}
	}
	return []string{handCaution}
}

// printMix writes the mixture for one tub on a line. For several tubs it also
// writes the mixture for all tubs together.
func (c *call) printMix(m mix, tubs int, u husbandry.Units) {
	fmt.Fprintf(c.stdout, "%s\n\n", c.bold(fmt.Sprintf("%v of water to dry %s, measured %s (common practice)", m.ratio, m.Name, m.by())))
	row := func(cells ...string) {
		line := fmt.Sprintf("  %-12s%-14s%-26s%s", cells[0], cells[1], cells[2], cells[3])
		fmt.Fprintln(c.stdout, strings.TrimRight(line, " "))
	}
	row("", "water", "dry "+m.Name, "together")
	portion := func(name string, p moisture.Portion) {
		dry := u.Mass(p.Dry)
		if m.ByVolume {
			dry = fmt.Sprintf("%s (about %s)", u.Volume(p.DryVolume), dry)
		}
		row(name, u.Mass(p.Water), dry, u.Mass(p.Water+p.Dry))
	}
	portion("one tub", m.one)
	if tubs > 1 {
		portion(fmt.Sprintf("%d tubs", tubs), m.one.Times(tubs))
	}
	fmt.Fprintln(c.stdout)
	if m.ByVolume {
		printIndented(c.stdout, "", fmt.Sprintf("Loose dry %s is taken to weigh %v kg a litre; from bag to bag it is a third more or less. Its volume is what counts.", m.Name, m.Bulk))
	}
	printIndented(c.stdout, "", "Weigh the tub closed when it is set: that is the mass to bring it back to.")
	for _, s := range m.cautions() {
		printIndented(c.stdout, "", "Caution: "+s)
	}
}

// portionJSON is a portion as `mix --json` shows it, rounded to a tenth.
type portionJSON struct {
	Water float64 `json:"water_g"`
	Dry   float64 `json:"dry_g"`
	DryML float64 `json:"dry_ml,omitempty"` // only for a ratio by volume
}

type mixJSON struct {
	Substrate string      `json:"substrate"`
	Ratio     string      `json:"ratio"` // of water to dry
	By        string      `json:"by"`    // mass or volume
	Tub       portionJSON `json:"tub"`
	Tubs      int         `json:"tubs"`
	All       portionJSON `json:"all"`
	Cautions  []string    `json:"cautions"`
}

func (m mix) json(tubs int) mixJSON {
	tenth := func(x float64) float64 { return math.Round(x*10) / 10 }
	portion := func(p moisture.Portion) portionJSON {
		return portionJSON{tenth(float64(p.Water)), tenth(float64(p.Dry)), tenth(float64(p.DryVolume))}
	}
	return mixJSON{m.Name, m.ratio.String(), strings.TrimPrefix(m.by(), "by "), portion(m.one), tubs, portion(m.one.Times(tubs)), m.cautions()}
}
