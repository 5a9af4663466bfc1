package finding

import "nestround/tasks/husbandry"

// All has every finding, in the order in which several findings of one task are
// said.
var All = []Row{
	{
		Name: "laid", slot: at("laid", func(g *Values) **int { return &g.Laid }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "slugs", slot: at("slugs", func(g *Values) **int { return &g.Slugs }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "more", slot: at("more", func(g *Values) **int { return &g.More }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "outside", slot: at("outside", func(g *Values) *bool { return &g.Outside }, Scanner.Bool),
	},
	{
		Name: "mother", slot: at("mother", func(g *Values) *husbandry.ID { return &g.Mother }, scanID),
		Plans: true, Lasts: true,
	},
	{
		Name: "digging", slot: at("digging", func(g *Values) *bool { return &g.Digging }, Scanner.Bool),
		Plans: true,
	},
	{
		Name: "hatched", slot: at("hatched", func(g *Values) **int { return &g.Hatched }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "dead", slot: at("dead", func(g *Values) **int { return &g.Dead }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "veins", slot: at("veins", func(g *Values) **int { return &g.Veins }, Scanner.Int),
		Plans: true, Lasts: true,
	},
	{
		Name: "moved", slot: at("moved", func(g *Values) *husbandry.ID { return &g.Moved }, scanID),
		Plans: true, Lasts: true,
	},
	{
		Name: "ended", slot: at("ended", func(g *Values) *bool { return &g.Ended }, Scanner.Bool),
		Plans: true, Lasts: true,
	},
	{
		Name: "weighs", slot: slot{
			key: "weighs_g",
			has: func(g *Values) bool { return g.Weighs != nil },
			merge: func(to, from *Values) {
				// Single weights belong to their mean.
				if from.Weighs != nil {
					to.Weighs, to.Each = from.Weighs, from.Each
				}
			},
			scan: func(s Scanner, g *Values) { g.Weighs = (*husbandry.Grams)(s.Float()) },
		},
		Plans: true,
	},
	{
		Name: "each", slot: slot{
			key:   "each_g",
			has:   func(g *Values) bool { return g.Each != nil },
			merge: func(_, _ *Values) {}, // with the mean
			scan:  scanEach,
		},
	},
	{
		Name: "added", slot: at("added_ml", func(g *Values) **husbandry.Millilitres { return &g.Added },
			func(s Scanner) *husbandry.Millilitres { return (*husbandry.Millilitres)(s.Float()) }),
		Plans: true,
	},
	{
		Name: "refused", slot: at("refused", func(g *Values) *bool { return &g.Refused }, Scanner.Bool),
		Plans: true,
	},
	{
		Name: "mated", slot: at("mated", func(g *Values) *bool { return &g.Mated }, Scanner.Bool),
		Plans: true, Lasts: true,
	},
	{
		Name: "with", slot: at("with", func(g *Values) *husbandry.ID { return &g.With }, scanID),
		Plans: true,
	},
	{
		Name: "gravid", slot: at("gravid", func(g *Values) **bool { return &g.Gravid },
			func(s Scanner) *bool { b := s.Bool(); return &b }),
		Plans: true, Lasts: true,
	},
	{
		Name: "sexed", slot: at("sexed", func(g *Values) **Sexed { return &g.Sexed }, scanSexed),
		Plans: true, Lasts: true,
	},
	{
		Name: "uvi", slot: at("uvi", func(g *Values) **float64 { return &g.UVI }, Scanner.Float),
		Plans: true,
	},
	{
		Name: "ill", slot: at("ill", func(g *Values) *bool { return &g.Ill }, Scanner.Bool),
		Plans: true,
	},
	{
		Name: "ordered", slot: at("ordered", func(g *Values) **int { return &g.Ordered }, Scanner.Int),
		Plans: true,
	},
	{
		Name: "stock", slot: at("stock", func(g *Values) **int { return &g.Stock }, Scanner.Int),
		Plans: true,
	},
	{
		Name: "note", slot: at("note", func(g *Values) *string { return &g.Note }, Scanner.Text),
	},
}

func scanID(s Scanner) husbandry.ID { return husbandry.ID(s.Text()) }

func scanSexed(s Scanner) *Sexed {
	var x Sexed
	s.Skip(`{"males":`)
	x.Males = *s.Int()
	s.Skip(`,"females":`)
	x.Females = *s.Int()
	s.Skip(`,"unsure":`)
	x.Unsure = *s.Int()
	s.Skip(`}`)
	return &x
}

func scanEach(s Scanner, g *Values) {
	g.Each = nil
	s.Skip(`[`)
	for {
		g.Each = append(g.Each, husbandry.Grams(*s.Float()))
		if !s.Try(`,`) {
			break
		}
	}
	s.Skip(`]`)
}
