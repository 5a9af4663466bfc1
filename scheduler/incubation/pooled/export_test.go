package pooled

// Committed returns the committed fit, to compare a new fit with.
func Committed() Fitted { return committed().Fitted }
