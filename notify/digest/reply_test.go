package digest_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"nestround/notify/digest"
	"nestround/notify/reply"
	"nestround/tasks"
	"nestround/tasks/finding"
	"nestround/tasks/husbandry"
)

// records knows the ids that a reply may name: the ids of the samples, and some
// ids that are ordinary words.
func records(id string) (reply.Target, bool) {
	id = strings.ToLower(id)
	switch {
	case id == "f03" || id == "f09" || id == "juno" || strings.HasPrefix(id, "c27-"),
		len(id) >= 3 && id[0] == 'e' && strings.Trim(id[1:], "0123456789") == "":
		return reply.Target{ID: husbandry.ID(id), Scope: husbandry.OfAnimal}, true
	}
	return reply.Target{}, false
}

func isRecord(id string) bool {
	_, ok := records(id)
	return ok
}

// pieces returns every run of words that a program can put on a line of its own
// by breaking s at spaces. A no-break space is not broken.
func pieces(s string) []string {
	words := strings.FieldsFunc(s, func(r rune) bool { return r == ' ' })
	var all []string
	for from := range words {
		for to := from + 1; to <= len(words); to++ {
			all = append(all, strings.Join(words[from:to], " "))
		}
	}
	return all
}

// wrapped returns the lines of s broken greedily at a width.
func wrapped(s string, width int) []string {
	var lines []string
	line := ""
	for _, w := range strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }) {
		switch {
		case line == "":
			line = w
		case len([]rune(line))+1+len([]rune(w)) > width:
			lines = append(lines, line)
			line = w
		default:
			line += " " + w
		}
	}
	return append(lines, line)
}

func wantNoCommand(t interface{ Errorf(string, ...any) }, what, line string) {
	if p := reply.Parse(line, records); len(p.Commands) > 0 {
		t.Errorf("%s: %q reads as %v", what, line, p.Commands)
	}
}

// paragraphs returns the pieces of text that a mail program may break: the
// lines of the text part, and the blocks of the HTML part, which have no line
// ends inside. No-break spaces are kept.
func paragraphs(t testing.TB, m digest.Mail) []string {
	all := append([]string{m.Subject}, strings.Split(m.Text, "\n")...)
	for _, b := range blocksOf(t, m.HTML) {
		all = append(all, b.raw)
	}
	return all
}

func TestNoPieceOfDigestIsCommand(t *testing.T) {
	t.Parallel()
	for name, c := range samples() {
		if name == "huge" {
			continue // has the same words as "big"
		}
		step := 1 // step of the widths at which lines are broken
		if name == "big" {
			step = 5 // has the words of "ordinary", but many lines
		}
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			c.Record = isRecord
			m := render(t, c)
			for _, l := range m.Lines {
				wantNoCommand(t, "line", l)
			}
			wantNoCommand(t, "the whole text", m.Text)
			seen := make(map[string]bool)
			for _, p := range paragraphs(t, m) {
				for width := 20; width <= 100; width += step {
					for _, l := range wrapped(p, width) {
						if !seen[l] {
							seen[l] = true
							wantNoCommand(t, fmt.Sprint("broken at ", width), l)
						}
					}
				}
				if name != "big" {
					for _, piece := range pieces(p) {
						if !seen[piece] {
							seen[piece] = true
							wantNoCommand(t, "piece", piece)
						}
					}
				}
			}
			// Some programs turn the whole HTML part into one line and then
			// break it.
			flat := flatText(t, m.HTML)
			for width := 20; width <= 100; width += step {
				for _, l := range wrapped(flat, width) {
					if !seen[l] {
						seen[l] = true
						wantNoCommand(t, fmt.Sprint("flat, broken at ", width), l)
					}
				}
			}
		})
	}
}

// TestWordsOfTheGrammarAreDefused builds names, reasons and quotes from the
// words of the reply grammar.
func TestWordsOfTheGrammarAreDefused(t *testing.T) {
	t.Parallel()
	vocabulary := []string{"done", "did", "all", "but", "except", "skip", "skipped", "later", "undo", "entry", "K7Q2M4", "note", "more", "2.1.3", "3.1", "has", "was", "is", "and", "for", "to",
		"1", "2", "3-5", "12", "#7", "2027", "two", "six", "41 g", "60 ml", "g", "days", "week", "friday", "tomorrow", "2027-05-20", "because",
		"F03", "E07", "juno", "C27-04", "young", "hello", "thanks", "please", "morning", "good", "ok", "you",
		"the", "crickets", "box"}
	for i := range finding.All {
		for _, v := range finding.All[i].Verbs {
			vocabulary = append(vocabulary, v.Word)
		}
		vocabulary = append(vocabulary, finding.All[i].Takes...)
	}
	glue := []string{" ", " ", " ", " ", ", ", ". ", "; ", ": ", " - ", " (", ") ", "! ", " & ", " \u00b7 ", "\u00a0", "\u2013", "/", " \u201c", "\" ", "\u200d", " + ", "-", ","}
	sentence := rapid.Custom(func(t *rapid.T) string {
		var b strings.Builder
		for i := range rapid.IntRange(1, 9).Draw(t, "words") {
			if i > 0 || rapid.Bool().Draw(t, "lead") {
				b.WriteString(rapid.SampledFrom(glue).Draw(t, "glue"))
			}
			w := rapid.SampledFrom(vocabulary).Draw(t, "word")
			switch rapid.IntRange(0, 5).Draw(t, "case") {
			case 0:
				w = strings.ToUpper(w)
			case 1:
				w = strings.ToUpper(w[:1]) + w[1:]
			}
			b.WriteString(w)
		}
		return b.String()
	})
	rapid.Check(t, func(t *rapid.T) {
		checkDefused(t, rapid.SliceOfN(sentence, 1, 10).Draw(t, "sentences")...)
	})
}

func FuzzForeignWordsAreDefused(f *testing.F) {
	for _, s := range []string{"done 3", "all", "hello, all but 4", "last done 7 May", "F03 laid 6", "ok: done\u200d 3", "\u00b7 skip 2", "6 \u2014 gravid", "done #3", "#00 lAid 0",
		"7 laid outside the box", "9 veins in 5 eggs", "12 male", "E07 sexed 2.1.3", "8 ill and limp", "E07 uvi 3.1", "4 weighs 3.1 3.4 g"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		if len(s) <= 200 {
			checkDefused(t, s)
		}
	})
}

type failer interface {
	Errorf(string, ...any)
	Fatal(...any)
}

func checkDefused(t failer, sentences ...string) {
	c := frame(&tasks.Board{On: wednesday})
	c.ReplyTo, c.Rounds = "", nil
	c.Record = isRecord
	c.Heading = sentences[0]
	for i, s := range sentences {
		r := row(i+1, s, husbandry.Morning, husbandry.Feed, "E07", s, s, 3)
		r.Caution = s
		c.Board.Rows = append(c.Board.Rows, r)
		for range 2 { // two consecutive tasks stand under their subject
			r.N = len(sentences) + len(c.Board.Rows)
			r.Do, r.Whom, r.Part = s, s, husbandry.Evening
			c.Board.Rows = append(c.Board.Rows, r)
		}
		c.Notices = append(c.Notices, digest.Notice{Text: s, Quotes: []string{s}})
		c.Ahead = append(c.Ahead, day(1, 1, 1, s))
		c.Watches = append(c.Watches, digest.Watch{Title: s, Why: s})
	}
	m, err := digest.Render(c)
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range m.Lines {
		wantNoCommand(t, "line", l)
	}
	seen := make(map[string]bool)
	for _, p := range strings.Split(m.Text, "\n") {
		for _, piece := range pieces(p) {
			if !seen[piece] {
				seen[piece] = true
				wantNoCommand(t, "piece of the text", piece)
			}
		}
	}
}

// TestOrdinaryWordsStayAsTheyAre: the usual words of a scheduler or a keeper
// must not change visibly.
func TestOrdinaryWordsStayAsTheyAre(t *testing.T) {
	for _, s := range []string{
		"last done 7 May",
		"day 41 of clutch C27-04 (laid 12 May, 28.0 °C)",
		"Clean all bowls",
		"All bowls of the rack",
		"Gravid check of Juno (F03)",
		"Juno (F03) laid 6 eggs on 12 May",
		"2 eggs lifted on 11 May; 6 eggs, of which 3 hatched on 1 May",
		"the young are not sexed, note the marks",
		"Feed all the geckos, then mist them all",
		"three feedings were refused since 1 May: weigh her",
		"Juno gave 41 g when weighed 2 weeks ago",
	} {
		for title, why := range map[string]string{s: "", "Feed E07": s} {
			r := row(7, "Room", husbandry.Morning, husbandry.Feed, "E07", title, why, 3)
			c := frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{r}})
			c.Record = isRecord
			m := render(t, c)
			want := "\n 7  " + title + "\n"
			switch {
			case why == "":
			case strings.HasPrefix(why, "All"): // a no-break space keeps it from the beginning of a line
				want += "    " + why + "\n"
			case len([]rune(" 7  "+title+" \u00b7 "+why)) <= 72:
				want = "\n 7  " + title + " \u00b7 " + why + "\n"
			default:
				want += "    " + why + "\n"
			}
			if got := strings.ReplaceAll(m.Text, "\u00a0", " "); !strings.Contains(got, want) {
				t.Errorf("%q became\n%s", s, got[:min(len(got), 400)])
			}
		}
	}
}

// TestWhatToRecordIsNoFinding: the hint of every finding stands on the line of
// its number. No piece of that line reads as the finding itself.
func TestRecordHintIsNoFinding(t *testing.T) {
	for i := range finding.All {
		f := finding.All[i].Name
		if finding.All[i].Record == "" {
			continue
		}
		r := with(row(7, "Room", husbandry.Morning, husbandry.Own, "E07", "Look at E07", "last seen with 2", 3),
			func(r *tasks.Row) { r.Asks = []husbandry.FindingName{f} })
		c := frame(&tasks.Board{On: wednesday, Rows: []tasks.Row{r}})
		c.Record = isRecord
		hint := ""
		for l := range strings.SplitSeq(render(t, c).Text, "\n") {
			if strings.HasPrefix(l, " 7  Look at E07\u00a0\u00b7 last seen with 2\u00a0\u00b7 Record ") {
				hint = l
			}
		}
		if hint == "" {
			t.Errorf("%s: the line has no hint", f)
		}
		for _, piece := range pieces(hint) {
			wantNoCommand(t, string(f), piece)
		}
	}
}

// TestAQuotedDigestIsDropped answers a digest like a mail program that does not
// mark quotes, with the text part and with the HTML part. The reader of replies
// must find only the keeper's words.
func TestQuotedDigestIsDropped(t *testing.T) {
	t.Parallel()
	for name, c := range samples() {
		if name == "unanswered" {
			continue
		}
		t.Run(name, func(t *testing.T) {
			c.Record = isRecord
			m := render(t, c)
			issue := digest.Issue(c, m, "d.1@example.org", time.Time{})
			for kind, body := range map[string]string{
				"plain": "done 1\n\n" + m.Text,
				"html":  strings.Replace(m.HTML, "<div", "<p>done 1</p><div", 1),
			} {
				raw := "From: keeper@example.org\r\nTo: lizards@example.org\r\nSubject: Re: " + m.Subject +
					"\r\nDate: Wed, 12 May 2027 07:00:00 +0200\r\nMIME-Version: 1.0\r\nContent-Transfer-Encoding: 8bit\r\nContent-Type: text/" +
					kind + "; charset=utf-8\r\n\r\n" + strings.ReplaceAll(body, "\n", "\r\n")
				read, err := reply.Read([]byte(raw))
				if err != nil {
					t.Fatalf("%s: %v", kind, err)
				}
				own := strings.TrimSpace(strings.Join(reply.Own(read.Lines, reply.QuotesOf(issue)), "\n"))
				if own != "done 1" {
					t.Errorf("%s: what is left of the answer is\n%s", kind, own[:min(len(own), 2000)])
				}
			}
		})
	}
}
