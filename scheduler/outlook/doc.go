// Package outlook answers what is asked besides tasks: spans of days for a
// calendar ([Dated]), the overview of clutches ([ClutchForecasts]) and how
// earlier ones went ([PastHatches]), growth ([Growths]), the year of a species
// ([Years]), live food ([FeederStocks]) and species that nothing feeds
// ([Unfed]). Each is a function of the facts of a day, or of its Day.
package outlook
