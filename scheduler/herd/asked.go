package herd

import "nestround/tasks/husbandry"

// Routines that rules use; the books define them in called.toml.
const (
	ReviewHatch  husbandry.ID = "review-hatch"  // a clutch is past its window
	ReviewSlugs  husbandry.ID = "review-slugs"  // many eggs of a clutch were infertile
	ReviewWeight husbandry.ID = "review-weight" // an animal has lost weight
	WeighRefused husbandry.ID = "weigh-refused" // food was refused three times in a row
	ReviewIll    husbandry.ID = "review-ill"    // illness was noted
	ReviewUnfed  husbandry.ID = "review-unfed"  // young take no food
	EnterYoung   husbandry.ID = "enter-young"   // young have no record yet
	SortBySize   husbandry.ID = "sort-by-size"  // the weights of a group lie far apart

	SetNestBox     husbandry.ID = "set-nest-box"     // eggs are expected and the enclosure has no nest box
	LookForEggs    husbandry.ID = "look-for-eggs"    // a window passed without eggs
	FeelForEggs    husbandry.ID = "feel-for-eggs"    // perhaps only part of a clutch was laid
	ReviewNestSite husbandry.ID = "review-nest-site" // eggs were laid outside the box
	WhoseEggs      husbandry.ID = "whose-eggs"       // a clutch has no mother yet
	RestFemale     husbandry.ID = "rest-female"      // a female has laid the season's number of clutches
	PartPair       husbandry.ID = "part-pair"        // a pair is together and has to be separated
	VetDigging     husbandry.ID = "vet-digging"      // a female digs for two days without laying

	OrderFeeder husbandry.ID = "order" // live food will not last until the delivery after the next one

	TopUpTub husbandry.ID = "top-up-tub" // an egg tub was weighed and has lost water
)

// Routines of a winter. Whether and when an animal has a winter follows from
// care sheets and cooling records.
const (
	CoolingCheck    husbandry.ID = "cooling-check"      // check an animal before its winter
	CoolingNot      husbandry.ID = "cooling-not"        // the animal is not cooled, and why
	CoolingLastFood husbandry.ID = "cooling-last-food"  // on the day before the fast
	CoolingFast     husbandry.ID = "cooling-fast"       // the fast begins
	CoolingStep     husbandry.ID = "cooling-step"       // set the next temperature
	CoolingWeigh    husbandry.ID = "cooling-weigh"      // weigh an animal in the cold
	CoolingStop     husbandry.ID = "cooling-stop"       // end the cooling of an animal
	CoolingFood     husbandry.ID = "cooling-first-food" // the first food after the winter
)

// ReviewKin asks for another male for a female whose kinship with every male of
// her species is too close.
const ReviewKin husbandry.ID = "review-kin"
