package ration

import (
	"strings"

	"nestround/tasks/husbandry"
)

// Powder says what a supplement gives that must not be given too often: one
// or several of D3 and Vitamins, or none of them.
type Powder uint8

// What a powder gives. Vitamin D3 and vitamin A are stored in the body and
// poison when they are given too often; plain calcium is neither.
const (
	D3       Powder = 1 << iota // vitamin D3
	Vitamins                    // a multivitamin, or vitamin A
)

// PowderOf tells what a supplement routine gives from what it consumes, its
// title and its id, in the words that labels use ("calcium powder with D3",
// "multivitamin").
func PowderOf(r *husbandry.Routine) Powder {
	words := strings.ToLower(strings.Join(r.Consumes, " ") + " " + r.Title + " " + string(r.ID))
	// The ways in which it is said to be without: "calcium powder without D3".
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

// Words names what it gives: "vitamin D3", "vitamins", "vitamin D3 and other
// vitamins", or "" for nothing that is counted.
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
