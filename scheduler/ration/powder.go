package ration

import (
	"strings"

	"nestround/tasks/husbandry"
)

// Powder is the set of substances in a supplement that must not be given too
// often: D3, Vitamins, both or neither.
type Powder uint8

// The substances that count. Vitamin D3 and vitamin A are stored in the body
// and are toxic if given too often. Plain calcium is not toxic, so it does not
// count.
const (
	D3       Powder = 1 << iota // vitamin D3
	Vitamins                    // a multivitamin, or vitamin A
)

// PowderOf recognises the powder of a supplement routine by the usual words of
// labels ("calcium powder with D3", "multivitamin"). It looks at the consumed
// items, the title and the id.
func PowderOf(r *husbandry.Routine) Powder {
	words := strings.ToLower(strings.Join(r.Consumes, " ") + " " + r.Title + " " + string(r.ID))
	// Some labels name substances that the powder lacks: "calcium powder
	// without D3". Remove these names.
	for _, without := range []string{"without vitamin ", "without ", "no vitamin ", "no "} {
		words = strings.ReplaceAll(words, without+"d3", "")
	}
	var p Powder
	if strings.Contains(words, "d3") || strings.Contains(words, "cholecalciferol") {
		p |= D3
	}
	for _, name := range []string{"multivit", "multi-vit", "vitamins", "vitamin a", "retinol"} {
		if strings.Contains(words, name) {
			p |= Vitamins
		}
	}
	return p
}

// Words names the substances: "vitamin D3", "vitamins", "vitamin D3 and other
// vitamins", or "" for none.
func (p Powder) Words() string {
	switch p {
	case D3:
		return "vitamin D3"
	case Vitamins:
		return "vitamins"
	case D3 | Vitamins:
		return "vitamin D3 and other vitamins"
	}
	return ""
}
