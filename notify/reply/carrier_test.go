package reply

import (
	"slices"
	"strings"
	"testing"

	"nestround/notify"
)

func TestIdentify(t *testing.T) {
	today := notify.Issue{ID: "K7Q2", Token: theToken, MessageID: "today@example.org"}
	old := notify.Issue{ID: "H4C6", Token: strings.Repeat("q", 26), MessageID: "old@example.org"}
	to := func(i notify.Issue) []string {
		return []string{"keeper@example.com", notify.PlusAddress("lizards@example.org", i.Token)}
	}
	mark := func(i notify.Issue) string { return "> " + notify.MarkerLine(i.ID, i.Token) }
	for _, c := range []struct {
		name     string
		mail     Mail
		id       string
		carriers []Carrier
		conflict []Carrier
		token    bool
	}{
		{"by the address", Mail{Recipients: to(today)}, "K7Q2", []Carrier{ByAddress}, nil, true},
		{"by the address in capitals", Mail{Recipients: []string{strings.ToUpper(to(today)[1])}}, "K7Q2", []Carrier{ByAddress}, nil, true},
		{"by In-Reply-To", Mail{InReplyTo: []string{"today@example.org"}}, "K7Q2", []Carrier{ByMessageID}, nil, false},
		{"by References", Mail{InReplyTo: []string{"answer@example.org"}, References: []string{"today@example.org", "x@example.com"}}, "K7Q2", []Carrier{ByMessageID}, nil, false},
		{"by the latest of References", Mail{References: []string{"old@example.org", "today@example.org"}}, "K7Q2", []Carrier{ByMessageID}, nil, false},
		{"by the subject", Mail{Subject: "Re: [#K7Q2]"}, "K7Q2", []Carrier{BySubject}, nil, false},
		{"by the marker", Mail{Lines: []string{"done 1", mark(today)}}, "K7Q2", []Carrier{ByMarker}, nil, true},
		{"by a marker that was wrapped", Mail{Lines: []string{"> Ref K7Q2", "> " + theToken}}, "K7Q2", []Carrier{ByMarker}, nil, true},
		{"by the first marker", Mail{Lines: []string{mark(today), ">" + mark(old)}}, "K7Q2", []Carrier{ByMarker}, nil, true},
		{"by all", Mail{Recipients: to(today), InReplyTo: []string{"today@example.org"}, Subject: "[#K7Q2]", Lines: []string{mark(today)}}, "K7Q2",
			[]Carrier{ByAddress, ByMessageID, BySubject, ByMarker}, nil, true},
		{"the address outweighs the rest", Mail{Recipients: to(today), InReplyTo: []string{"old@example.org"}, Subject: "[#H4C6]", Lines: []string{mark(old)}}, "K7Q2",
			[]Carrier{ByAddress}, []Carrier{ByMessageID, BySubject, ByMarker}, true},
		{"the message outweighs the subject", Mail{InReplyTo: []string{"old@example.org"}, Subject: "[#K7Q2]"}, "H4C6", []Carrier{ByMessageID}, []Carrier{BySubject}, false},
		{"the subject outweighs the quote, whose token proves nothing of it", Mail{Subject: "[#K7Q2]", Lines: []string{mark(old)}}, "K7Q2", []Carrier{BySubject}, []Carrier{ByMarker}, false},
		{"a token nobody knows", Mail{Recipients: []string{notify.PlusAddress("x@example.org", strings.Repeat("z", 26))}, Subject: "[#K7Q2]"}, "K7Q2", []Carrier{BySubject}, nil, false},
		{"a marker with another's token", Mail{Lines: []string{"Ref K7Q2 " + old.Token}}, "", nil, nil, false},
		{"nothing", Mail{Subject: "hello"}, "", nil, nil, false},
		{"ids nobody knows", Mail{Subject: "[#A2A2]", InReplyTo: []string{"x@y"}, References: []string{"z@y"}}, "", nil, nil, false},
	} {
		m, ok := Identify(c.mail, issues{old, today})
		if ok != (c.id != "") || m.Issue.ID != c.id || !slices.Equal(m.Carriers, c.carriers) || !slices.Equal(m.Conflict, c.conflict) || m.Token != c.token {
			t.Errorf("%s: %+v, %v", c.name, m, ok)
		}
	}
}

func TestOwn(t *testing.T) {
	issue := notify.Issue{Lines: []string{"Overdue", " 1  Top up the nest box of E07", "", "all"}}
	drop := QuotesOf(issue, []string{"Recorded for you: one thing."})
	for _, c := range []struct {
		name  string
		lines []string
		want  []string
	}{
		{"quote marks", []string{"a", "> b", ">c", ">> d", "  > e", "\u00a0> f", "\ufeff> g"}, []string{"a"}},
		{"the digest's lines", []string{"1 TOP UP the nest box\u00a0of  E07", "overdue", "1 Top up the nest box", "all", "all but 4"}, []string{"1 Top up the nest box", "all but 4"}},
		{"an answer's lines", []string{"recorded for you: one thing.", "done 1"}, []string{"done 1"}},
		{"a signature", []string{"done 1", "-- ", "done 2"}, []string{"done 1"}},
		{"a signature without its space", []string{"done 1", "--", "done 2"}, []string{"done 1"}},
		{"a quoted signature", []string{"done 1", "> -- ", "done 2"}, []string{"done 1", "done 2"}},
		{"a rule is no signature", []string{"---", "done 2"}, []string{"---", "done 2"}},
		{"blank lines stay", []string{"done 1", "", "3"}, []string{"done 1", "", "3"}},
	} {
		if got := Own(c.lines, drop); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	if got := Own([]string{"a", "> b"}, nil); !slices.Equal(got, []string{"a"}) {
		t.Errorf("without a drop function: %q", got)
	}
}

// A quoted line of the digest must be recognised in any folding.
func TestFoldLine(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"  Feed\tE01 \u202f now\u00a0", "feed e01 now"},
		{"Feed\u200b E01\u00ad", "feed e01"},
		{"ÄRGER", "ärger"},
		{"", ""},
	} {
		if got := FoldLine(c.line); got != c.want {
			t.Errorf("FoldLine(%q) = %q, want %q", c.line, got, c.want)
		}
		if again := FoldLine(c.want); again != c.want {
			t.Errorf("FoldLine(%q) = %q", c.want, again)
		}
	}
}
