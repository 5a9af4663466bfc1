package husbandry

// FindingName names something that a keeper can observe and record with a task.
// The reply grammar uses the same names.
type FindingName string

// The findings a task may ask for.
const (
	FindLaid    FindingName = "laid"
	FindSlugs   FindingName = "slugs"
	FindHatched FindingName = "hatched"
	FindVeins   FindingName = "veins"
	FindWeighs  FindingName = "weighs"
	FindAdded   FindingName = "added"
	FindRefused FindingName = "refused"
	FindMated   FindingName = "mated"
	FindGravid  FindingName = "gravid"
	FindSexed   FindingName = "sexed"
	FindUVI     FindingName = "uvi"
	FindIll     FindingName = "ill"
	FindOrdered FindingName = "ordered"
)
