// Package outlook answers questions besides tasks: spans of days for a calendar
// ([Dated]), the overview of clutches ([ClutchForecasts]), finished clutches
// against their forecasts ([PastHatches]), growth ([Growths]), the year of a
// species ([Years]), live food ([FeederStocks]) and species that no routine
// feeds ([Unfed]). Each is a function of the facts of a day, or of its Day.
package outlook
