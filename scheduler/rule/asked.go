package rule

import (
	"nestround/scheduler/herd"
	"nestround/scheduler/plan"
	"nestround/tasks/husbandry"
)

// called returns the routine of an id that a rule asks for, about a subject.
func called(_ *plan.Day, s *plan.Subject, id husbandry.ID) *husbandry.Routine {
	r := asked[id]
	r.ID, r.Scope, r.Missed, r.Origin = id, s.Scope, husbandry.Stays, husbandry.Common
	if r.Part == "" {
		r.Part = husbandry.Morning
	}
	return &r
}

const dystocia = "Gravid females may stop eating but stay active and alert. " +
	"Call a reptile veterinarian today, do not wait, if she is limp, trembling or losing weight, strains or digs for two days without eggs, " +
	"has laid only part of a clutch, or shows blood, a prolapse, weak hind legs or laboured breathing. Offer warmth, water and a damp place to dig meanwhile."

var asked = map[husbandry.ID]husbandry.Routine{
	herd.ReviewHatch: {Kind: husbandry.Review, Title: "Review the overdue hatching", Minutes: 10, After: 3, Caution: herd.PastHatching},
	herd.ReviewSlugs: {Kind: husbandry.Review, Title: "Review calcium, vitamin D3 and UVB", Minutes: 10, After: 3,
		Caution: "Calcium, vitamin D3 or vitamin A given too often harms as well: keep to the products' doses, " +
			"and ask a reptile veterinarian before changing more than the lamp or the calcium."},
	herd.ReviewWeight: {Kind: husbandry.Review, Title: "Review the health", Minutes: 10, After: 3,
		Caution: "A lizard that goes on losing weight, or is limp or sunken-eyed as well, belongs to a reptile veterinarian."},
	herd.WeighRefused: {Kind: husbandry.Weigh, Title: "Weigh", Minutes: 10, After: 3,
		Caution: "A lizard that goes on losing weight, or is limp or sunken-eyed as well, belongs to a reptile veterinarian."},
	herd.ReviewIll: {Kind: husbandry.Review, Title: "Review the illness", Minutes: 10, After: 3,
		Caution: "Limp, gaping, straining, blood, a prolapse, fits or laboured breath: to a reptile veterinarian today. " +
			"Everything else that does not pass in a day or two: to the veterinarian as well. On its own, warm, last in the round; wash your hands (Salmonella)."},
	herd.ReviewUnfed: {Kind: husbandry.Review, Title: "Review the feeding of the young", Minutes: 10, After: 3,
		Caution: "Young that have not eaten ten days after hatching, or whose belly sinks in, belong to a reptile veterinarian. " +
			"Meanwhile warmth, water, cover and the smallest live prey; no force-feeding."},
	herd.EnterYoung: {Kind: husbandry.Review, Title: "Enter the young in the books", Minutes: 10, After: 3,
		Caution: "Hatchlings that nobody feeds and waters live on their yolk for days only."},
	herd.SortBySize: {Kind: husbandry.Separate, Title: "Sort by size", Minutes: 10, After: 3,
		Caution: "Small ones are bitten, and starve beside large ones. A bitten or thin one sits alone; one that loses weight is shown to a reptile veterinarian."},
	herd.ReviewKin: {Kind: husbandry.Review, Title: "Find a male that is no close kin", Minutes: 10, After: 3,
		Caution: "Young of close kin are malformed more often, and fewer hatch. " +
			"An animal that comes for her goes through quarantine first; permits and protected species follow the local law."},
	herd.SetNestBox: {Kind: husbandry.Review, Title: "Put a damp nest box in", Minutes: 10, After: 3,
		Caution: "Without a place that suits her she holds her eggs, and that kills: damp substrate deep enough for a tunnel, warmth and cover. " +
			"Gravid females that strain, dig for two days or weaken go to the veterinarian."},
	herd.LookForEggs: {Kind: husbandry.GravidCheck, Title: "Look for hidden eggs, and feel for eggs in her", Minutes: 10, After: 3, Caution: dystocia},
	herd.FeelForEggs: {Kind: husbandry.GravidCheck, Title: "Feel for eggs left in her", Minutes: 10, After: 3, Caution: dystocia},
	herd.ReviewNestSite: {Kind: husbandry.Review, Title: "Review the nest box: damp, depth, warmth, cover", Minutes: 10, After: 3,
		Caution: "Eggs laid in the open dry within hours. Of 74 collared lizard eggs laid in a moist chamber 46 hatched, of 29 laid outside none " +
			"(Santoyo-Brito and others 2012, Herpetological Review 43:430-432). Without a place that suits her she may hold the next ones."},
	herd.WhoseEggs: {Kind: husbandry.Review, Title: "Find out whose eggs were found", Minutes: 10, After: 3,
		Caution: "Until that is known every one of them stays watched."},
	herd.RestFemale: {Kind: husbandry.Review, Title: "Rest the female", Minutes: 10, After: 3,
		Caution: "Rest her from males, feed her up and weigh her; a thin female goes to the veterinarian."},
	herd.PartPair: {Kind: husbandry.Pair, Title: "Part the pair", Minutes: 10, After: 3,
		Caution: "At once when either is bitten, flees or does not eat."},
	herd.VetDigging: {Kind: husbandry.GravidCheck, Title: "Have her seen by a reptile veterinarian today", Minutes: 10, After: 3, Caution: dystocia},
	herd.TopUpTub: {Kind: husbandry.TubCheck, Title: "Add water to the tub", Minutes: 10, After: 3,
		Caution: "Beside the eggs and never on them, at the incubator's temperature; do not turn the eggs. Keep water and wet hands off the incubator's mains parts."},
	herd.OrderFeeder: {Kind: husbandry.Order, Minutes: 5, Part: husbandry.Evening},
	herd.CoolingCheck: {Kind: husbandry.Review, Title: "Check the health before the cooling", Minutes: 5, After: 14,
		Caution: "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
			"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."},
	herd.CoolingNot: {Kind: husbandry.Review, Title: "Keep warm and fed this winter", Minutes: 5, After: 14},
	herd.CoolingLastFood: {Kind: husbandry.Cool, Title: "Last food before the cooling", Minutes: 2,
		Caution: "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
			"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."},
	herd.CoolingFast: {Kind: husbandry.Cool, Title: "Begin the fast before the cooling", Minutes: 3, After: 3,
		Caution: "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
			"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."},
	herd.CoolingStep: {Kind: husbandry.Cool, Minutes: 5, After: 1,
		Caution: "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
			"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."},
	herd.CoolingWeigh: {Kind: husbandry.Weigh, Title: "Weigh", Minutes: 3, After: 2, Before: 2,
		Caution: "Only healthy, well-fleshed, grown lizards with an empty gut are cooled. Hang a minimum-maximum thermometer beside them: " +
			"frost kills, and so does food in a cold gut. In doubt about one, keep it warm and ask a reptile veterinarian."},
	herd.CoolingStop: {Kind: husbandry.Review, Minutes: 10},
	herd.CoolingFood: {Kind: husbandry.Feed, Title: "First food after the cooling", Minutes: 3,
		Caution: "A small meal, once it is warm and moves about as usual. If nothing is eaten within ten days of warmth, or it is weak, call a reptile veterinarian."},
}
