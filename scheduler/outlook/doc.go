// Package outlook answers questions that are not about tasks: spans of days for
// a calendar ([Dated]), the overview of clutches ([ClutchForecasts]), finished
// clutches against their forecasts ([PastHatches]), growth ([Growths]), the
// year of a species ([Years]), live food ([FeederStocks]) and species that no
// routine feeds ([Unfed]). Each function takes the facts of a day ([herd.Herd])
// or a [plan.Day].
package outlook
