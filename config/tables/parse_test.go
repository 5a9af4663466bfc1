package tables

import (
	"bytes"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/BurntSushi/toml"

	"nestround/config/diag"
)

// plain returns the values as the library would return them.
func (t *Table) plain() map[string]any {
	m := make(map[string]any)
	for _, e := range t.entries {
		m[e.key] = e.value.plain()
	}
	return m
}

func (v *Value) plain() any {
	switch v.kind {
	case subtable:
		return v.table.plain()
	case array, tables:
		items := []any{}
		for _, item := range v.items {
			items = append(items, item.plain())
		}
		return items
	}
	return v.raw
}

// same compares the values read here with the values that the library reads
// from the whole file. The library has two types for lists.
func same(mine, library any) bool {
	switch l := library.(type) {
	case map[string]any:
		m, ok := mine.(map[string]any)
		if !ok || len(m) != len(l) {
			return false
		}
		for key := range l {
			if _, ok := m[key]; !ok || !same(m[key], l[key]) {
				return false
			}
		}
		return true
	case []map[string]any:
		items := make([]any, len(l))
		for i := range l {
			items[i] = l[i]
		}
		return same(mine, items)
	case []any:
		m, ok := mine.([]any)
		if !ok || len(m) != len(l) {
			return false
		}
		for i := range l {
			if !same(m[i], l[i]) {
				return false
			}
		}
		return true
	case float64:
		m, ok := mine.(float64)
		return ok && (m == l || math.IsNaN(m) && math.IsNaN(l))
	case time.Time:
		m, ok := mine.(time.Time)
		return ok && m.Equal(l) && m.Location().String() == l.Location().String()
	}
	return reflect.DeepEqual(mine, library)
}

const good = "\ufeff# every form that TOML has\r\n" + `
title = "x"
"quoted key" = 'single # no comment'
site."a.b".c = 1
[a]
text = """
two
lines""" # comment
raw = '''it's "raw" \'''
quotes = """a "" b"""""
list = [ 1, 2, # one
  3,
]
mixed = [1, "two", 2026-03-01, { x = 1 }]
date = 2026-03-01
times = [07:30:00, 2026-03-01T07:30:00, 2026-03-01 07:30:00Z]
numbers = [0x1f, 0o17, 0b1, 1_000, -3, +4, 1e3, inf, -nan]
inline = { a = 1, b.c = "x}", d = [ { e = ']' } ] }
empty = {}
[[a.b]]
id = "E1"
[a.b.sub]
x = true
[[a.b]]
id = "E2"
[z.y.x]
[z]
k = 1
`

func TestParseAgreesWithLibrary(t *testing.T) {
	var list diag.List
	root := Parse("good.toml", []byte(good), &list)
	if len(list) > 0 {
		var b bytes.Buffer
		list.Print(&b)
		t.Fatalf("problems in a good file:\n%s", b.String())
	}
	var want map[string]any
	if _, err := toml.Decode(good, &want); err != nil {
		t.Fatal(err)
	}
	if !same(root.plain(), want) {
		t.Errorf("got  %v\nwant %v", root.plain(), want)
	}
}

func TestSyntaxErrorsHaveTheirPlace(t *testing.T) {
	for _, c := range []struct {
		name, src string
		want      []string // line:column: beginning of the message
	}{
		{"a value without quotes", "x = 10 days\n", []string{"1:5: this is not a value"}},
		{"a word without quotes", "a = 1\nx = yes\n", []string{"2:5: this is not a value"}},
		{"no value", "x =\n", []string{"1:4: a value is expected"}},
		{"no equals sign", "a = 1\nkey value\n", []string{"2:5: `=` is expected here, after the key `key`"}},
		{"no key", " = 1\n", []string{"1:2: a key is expected here"}},
		{"text not closed", "\tx = \"abc\ny = 1\n", []string{"1:6: the text that begins here is not closed"}},
		{"text not closed, CRLF", "a = 1\r\nx = \"abc\r\ny = 1\r\n", []string{"2:5: the text that begins here is not closed"}},
		{"list not closed", "x = [\n1,\n2\n[next]\ny = 1\n", []string{"1:5: the brackets that open here are not closed"}},
		{"list cut off", "x = [1, 2", []string{"1:5: the list that begins here is not closed"}},
		{"comma forgotten", `x = ["a" "b"]`, []string{"1:10: a comma or ] is expected here"}},
		{"table cut off", "x = { a = 1", []string{"1:5: the table that begins here is not closed"}},
		{"table key alone", "x = { a }", []string{"1:9: `=` is expected here, after the key `a`"}},
		{"header not closed", "[a\nx = 1\n", []string{"1:3: the header is not closed by `]`"}},
		{"header half closed", "[[a]\nx = 1\n", []string{"1:4: the header is not closed by `]]`"}},
		{"text after a header", "[a] x = 1\n", []string{"1:5: nothing but a comment"}},
		{"two values on a line", "x = 1 y = 2\n", []string{"1:5: this is not a value"}},
		{"text after text", "x = \"äöü\" \"y\"\n", []string{"1:11: nothing but a comment"}},
		{"a key twice", "[t]\nkey = 1\nother = 2\nkey = 3\n", []string{"4:1: `key` stands twice; first at f.toml:2"}},
		{"a key twice in braces", "x = { a = 1, b = 2, a = 3 }\n", []string{"1:21: `a` stands twice; first at f.toml:1"}},
		{"a table twice", "[a]\n[b]\n[a]\n", []string{"3:2: the table [a] stands twice; first at f.toml:1"}},
		{"a table and a list of tables", "[a]\n[[a]]\n", []string{"2:3: `a` is a single table since f.toml:1"}},
		{"a list of tables and a table", "[[a]]\n[a]\n", []string{"2:2: `a` is a list of tables since f.toml:1"}},
		{"a table over a value", "a = 1\n[a.b]\n", []string{"2:2: `a` already has a value, at f.toml:1"}},
		{"a table over braces", "a = {}\n[a.b]\n", []string{"2:2: `a` already has a value"}},
		{"a dotted key over a value", "a = 1\na.b = 2\n", []string{"2:1: `a` stands twice"}},
		{"a key twice among many", manyKeys(40) + "k7 = 1\n", []string{"41:1: `k7` stands twice; first at f.toml:8"}},
		{"a quoted key not closed", "\"a = 1\n", []string{"1:1: a quoted key is closed on its line"}},
		{"a bad escape in a key", "\"a\\q\" = 1\n", []string{"1:1: invalid escape"}},
		{"a table over an unreadable value", "a = x\n[a.b]\nc = 1\n", []string{"1:5: this is not a value", "2:2: `a` already has a value"}},
		{"a dotted key over an unreadable value", "a = x\na.b = 1\n", []string{"1:5: this is not a value", "2:1: `a` stands twice"}},
		{"no key in braces", "x = { = 1 }\n", []string{"1:7: a key is expected here"}},
		{"a comma forgotten in braces", "x = { a = \"1\" b = 2 }\n", []string{"1:15: a comma or } is expected here"}},
		{"a long text", "a = 1\nx = '''" + strings.Repeat("x\n", MaxText/2) + "'''\nb = yes\n", []string{"2:5: the text is longer than 64 KiB and is not read", "32771:5: this is not a value"}},
		{"no such day", "x = 2026-02-30\n", []string{"1:5: there is no such date"}},
		{"number too large", "x = 99999999999999999999\n", []string{"1:5: 99999999999999999999 is out of range"}},
		{"leading zero", "x = 07\n", []string{`1:5: invalid integer "07"`}},
		{"bad escape", `x = "C:\quick"`, []string{`1:5: invalid escape in string '\q'`}},
		{"a NUL byte", "x = 1\ny = \"a\x00b\"\n", []string{"2:7: a NUL byte"}},
		{"not UTF-8", "x = \"K\xf6ln\"\n", []string{"1:7: byte 0xf6 is not UTF-8"}},
		{"columns count characters", "x = [\"äöü\", yes]\n", []string{"1:13: this is not a value"}},
		{"a bare carriage return", "x = 1\ry = 2\n", []string{"1:5: this is not a value", "1:6: a control character"}},
		{"UTF-16", "\xff\xfex\x00=\x001\x00", []string{"1:1: byte 0xff", "1:2: byte 0xfe", "1:4: a NUL", "1:6: a NUL", "1:8: a NUL"}},
		{"a key of many parts", "a" + strings.Repeat(".a", MaxParts) + " = 1\n", []string{"1:32: the key has more than 16 parts"}},
		{"brackets in brackets", "x = " + strings.Repeat("[", 99), []string{"1:21: more than 16 levels of brackets"}},
		{"several faults in a file", "a = yes\nb = 1\nc = \"\n[d\ne = 1.\n", []string{"1:5: ", "3:5: ", "4:3: ", "5:5: "}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var list diag.List
			Parse("f.toml", []byte(c.src), &list)
			list.Sort()
			var got []string
			for _, p := range list {
				got = append(got, fmt.Sprintf("%d:%d: %s", p.Line, p.Column, p.Message))
			}
			ok := len(got) == len(c.want)
			for i := range c.want {
				ok = ok && i < len(got) && strings.HasPrefix(got[i], c.want[i])
			}
			if !ok {
				t.Errorf("got  %q\nwant %q", got, c.want)
			}
		})
	}
}

func TestParseContinuesAfterFault(t *testing.T) {
	const src = `
[[a]]
id = "1"
x = yes
y = [ "never", "closed"
z = 1
[[a]]
id = "2"
`
	var list diag.List
	root := Parse("f.toml", []byte(src), &list)
	rows := root.Tables("a")
	if len(rows) != 2 || rows[1].Text("id") != "2" {
		t.Fatalf("read %v", root.plain())
	}
	if n, _ := rows[0].Int("z", 0, 9); n != 1 {
		t.Errorf("the key after the open list was not read: %v", root.plain())
	}
	if len(list) != 2 {
		t.Errorf("%d problems, want 2", len(list))
	}
	if !rows[0].Broken() || rows[1].Broken() {
		t.Error("the broken table is not known as the broken one")
	}
}

func TestLimits(t *testing.T) {
	for _, c := range []struct {
		name, src, want string
	}{
		{"file", strings.Repeat("#\n", MaxFile/2+1), "1:1: the file is larger than 8 MiB"},
		{"line", "a = 1\nx = \"" + strings.Repeat("x", MaxLine) + "\"\nb = 2\n", "2:1: the line is longer than 64 KiB"},
		{"keys", keys(MaxKeys + 1), "1001:1: this is more than the 1000 keys that a table may have"},
		{"tables", "[b]\n[" + strings.ReplaceAll(keys(MaxKeys+1), "=1\n", "]\n["), "1001:2: this is more than the 1000 keys"},
		{"keys in braces", "x = {" + strings.ReplaceAll(keys(MaxKeys+1), "\n", ",") + "}", "1:"},
		{"faults", strings.Repeat("x\n", 1000), "21:2: too many faults"},
	} {
		t.Run(c.name, func(t *testing.T) {
			var list diag.List
			root := Parse("f.toml", []byte(c.src), &list)
			last := list[len(list)-1]
			if got := fmt.Sprintf("%d:%d: %s", last.Line, last.Column, last.Message); !strings.HasPrefix(got, c.want) {
				t.Errorf("got %s, want %s", got, c.want)
			}
			if !root.Lost() {
				t.Error("nothing is said to be lost")
			}
			if len(list) > maxSyntaxErrors+1 {
				t.Errorf("%d problems", len(list))
			}
		})
	}
	t.Run("problems", func(t *testing.T) {
		var list diag.List
		root := Parse("f.toml", []byte(strings.Repeat("[[a]]\nx = 1\n", 3000)), &list)
		for _, a := range root.Tables("a") {
			a.Done()
		}
		if len(list) != maxProblems || !strings.HasPrefix(list[len(list)-1].Message, "too many problems") {
			t.Errorf("%d problems, the last: %s", len(list), list[len(list)-1].Message)
		}
	})
}

// keys returns n lines, each with a key of its own.
func keys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d=1\n", i)
	}
	return b.String()
}

// A message about a secret must show neither the secret nor its line.
func TestSecretsAreNotShown(t *testing.T) {
	for _, src := range []string{
		"[mail.out]\npassword = \"hunter2\"\n",
		"[mail.out]\npassword = \"hunter2\n",
		"[mail.out]\npassword = hunter2\n",
		"[mail.out]\npasword = 'hunter2'\n",
		"[mail.out]\nkey = \"hunter2\" x\n",
		"[mail.out]\nkey = hunter2\n",
		"[mail]\nout = { password = \"hunter2\", x = hunter2 }\n",
		"[mail]\nout = { pw = \"hunter2\" }\n",
		"mail.out.pasw = \"hunter2\"\n",
		"mail.out.pasw = hunter2\n",
		"smtp_password = \"hunter2\n",
		"password = \"\"\"\nhunter2\"\"\" x\n",
		"PASSWORD = hunter2\n",
		"secret = hunter2\n",
		"[mail.out\npassword = hunter2\n",
		"[x]\npassword = 1\npassword = \"hunter2\"\n",
		"password \"hunter2\"\n",
		"password: hunter2\n",
	} {
		t.Run(src, func(t *testing.T) {
			var list diag.List
			root := Parse("keeper.toml", []byte(src), &list)
			m := root.Table("mail")
			o := m.Table("out")
			o.Refuse("password", "no", "")
			o.Text("smtp")
			o.Done()
			m.Done()
			root.Done()
			var b bytes.Buffer
			list.Print(&b)
			if len(list) == 0 {
				t.Error("no problem is reported")
			}
			if strings.Contains(b.String(), "hunter2") {
				t.Errorf("the secret is shown:\n%s", b.String())
			}
		})
	}
	t.Run("the place of a secret is shown", func(t *testing.T) {
		var list diag.List
		Parse("f.toml", []byte("password_file = secrets/mail\n"), &list)
		if len(list) != 1 || list[0].Source == "" {
			t.Errorf("got %+v", list)
		}
	})
}

// FuzzParse compares Parse with the library: if Parse finds no problem, both
// must read the same values.
func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	for _, s := range []string{
		"a.b = 1\n[a]\n", "[a.b]\n[a]\nb.c = 1\n", "[a]\n[a.b]\n[a]", "x = '''a'''''", "x = \"\"\"\\\n  a\"\"\"",
		"x = [[1],[2]]", "[[a]]\n[a.b]\n[[a.b]]", "x = {a.b = 1, a.c = 2}", "[\"a b\".'c']\n", "x = 1979-05-27 07:32:00 # c",
		"x = [\n# c\n1\n,\n]", "a = { b = { c = { d = 1 } } }\na.b = 2", "x = \"\\u00e9\\U0001F98E\"", "1 = 2\n-_ = 3", "x = {\n a = 1,\n}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, src []byte) {
		var list diag.List
		root := Parse("f.toml", src, &list)
		if len(list) > 0 {
			lines := bytes.Count(src, []byte("\n")) + 1
			for _, p := range list {
				if p.Line < 1 || p.Line > lines || p.Column < 1 || p.Message == "" {
					t.Errorf("a problem is nowhere: %+v", p)
				}
				_ = p.String()
			}
			return
		}
		var want map[string]any
		if _, err := toml.Decode(string(src), &want); err != nil {
			t.Fatalf("the library refuses it: %v", err)
		}
		if !same(root.plain(), want) {
			t.Errorf("got  %v\nwant %v", root.plain(), want)
		}
	})
}

// manyKeys returns n lines: k0 = 0 and so on.
func manyKeys(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "k%d = %d\n", i, i)
	}
	return b.String()
}

func manyTables(n int) []byte {
	var b bytes.Buffer
	for i := range n {
		fmt.Fprintf(&b, "[[animal]]\nid = \"F%d\"\nspecies = \"leopard-gecko\"\nsex = \"female\"\nhatched = 2024-05-%02d\nenclosure = \"E%d\"\n\n", i, i%28+1, i)
	}
	return b.Bytes()
}

func BenchmarkParse(b *testing.B) {
	for _, n := range []int{1_100, 11_000} {
		src := manyTables(n)
		b.Run(fmt.Sprintf("%d tables", n), func(b *testing.B) {
			b.SetBytes(int64(len(src)))
			for b.Loop() {
				var list diag.List
				Parse("f.toml", src, &list)
			}
		})
	}
}

// The cost of a hostile file of the largest size must grow only linearly with
// its size.
func BenchmarkHostile(b *testing.B) {
	for _, c := range []struct{ name, unit string }{
		{"open lists", "a = [\n"},
		{"open texts", "a = \"\"\"\n"},
		{"headers", "[a]\n"},
		{"one key", "a = 1\n"},
		{"no TOML", "\x01"},
		{"dots", "a."},
		{"brackets", "[["},
	} {
		src := bytes.Repeat([]byte(c.unit), MaxFile/len(c.unit))
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				var list diag.List
				Parse("f.toml", src, &list)
			}
		})
	}
	b.Run("a million keys", func(b *testing.B) {
		var src bytes.Buffer
		for i := 0; src.Len() < MaxFile-20; i++ {
			fmt.Fprintf(&src, "k%d=1\n", i)
		}
		for b.Loop() {
			var list diag.List
			Parse("f.toml", src.Bytes(), &list)
		}
	})
}
