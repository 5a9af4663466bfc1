package pooled

// Committed returns the committed fit, for comparison with a new fit.
func Committed() Fitted { return committed().Fitted }
