package published

// Citation returns the full citation of a paper's short name, "" for none.
func Citation(paper string) string { return all().papers[paper] }
