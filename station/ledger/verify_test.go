package ledger

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"twocup/station/batch"
)

// The two hashes were worked out with hashlib and struct of Python 3 from the bytes that the documentation of sum lists.
func TestTheHashIsOverTheDocumentedBytes(t *testing.T) {
	one := link{seq: 1, batch: "b1", at: "2026-01-02T12:00:00.123456789Z", kind: "noted", body: `{"text":"ü"}`}
	one.hash = one.sum()
	require.Equal(t, "1bfbff724e0025c08d8449a5bc0e9da751614e09dd4be35507615e4236435cfc", fmt.Sprintf("%x", one.hash))
	two := link{seq: 2, prev: one.hash}
	require.Equal(t, "b5e535d2e2dfa43417f6531399b3009e1567acf8082c22b624a40edf2b0e7747", fmt.Sprintf("%x", two.sum()))
}

func TestTextThatMovesFromOneFieldToTheNextChangesTheHash(t *testing.T) {
	one, other := link{seq: 1, batch: "b1", kind: "noted"}, link{seq: 1, batch: "b", at: "1", kind: "noted"}
	require.NotEqual(t, one.sum(), other.sum())
}

func TestHead(t *testing.T) {
	l := open(t, t.TempDir())
	empty, err := l.Head(t.Context())
	require.NoError(t, err)
	require.Equal(t, "0:0000000000000000000000000000000000000000000000000000000000000000", empty)
	require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
	text, err := l.Head(t.Context())
	require.NoError(t, err)
	require.Regexp(t, `^11:[0-9a-f]{64}$`, text)
	for _, kept := range []string{empty, text} {
		report, err := l.Verify(t.Context(), kept)
		require.NoError(t, err)
		require.Equal(t, Report{Events: 11, Batches: 1, Head: text}, report)
	}
	for _, wrong := range []string{"11", "x" + text, text[:len(text)-2], text + "00", "-1" + text[2:], ":", text[:len(text)-1] + "g"} {
		_, err := l.Verify(t.Context(), wrong)
		require.ErrorContains(t, err, "it is not of the form SEQ:HASH", wrong)
	}
}

// twoBatches is a ledger of 13 events: 1 starts b1, 2 starts b2, 3 to 12 are b1's others (6 is a doubt, 7 and 10 accept, 11
// is a note, 12 ends it), 13 is a note on b2.
func twoBatches(t *testing.T) (l *Ledger, kept string) {
	l = open(t, t.TempDir())
	all := allKinds(t, "b1")
	require.NoError(t, l.Append(t.Context(), "b1", all[0]))
	require.NoError(t, l.Append(t.Context(), "b2", started(t, "b2", "cobble-rubber", noon)))
	require.NoError(t, l.Append(t.Context(), "b1", all[1:]...))
	require.NoError(t, l.Append(t.Context(), "b2", batch.Noted{At: noon, Text: "the last"}))
	kept, err := l.Head(t.Context())
	require.NoError(t, err)
	return l, kept
}

const (
	changed   = "it is not as it was written: its content or its hash was changed"
	displaced = "it does not belong here: it was put in, moved or rewritten, or events before it were taken out and the others renumbered"
	otherwise = "batch b1: lists show it otherwise than its events tell"
)

// What is done to the file, and what is named. A chain is "rewritten" when every hash from an event on is made anew, as
// only somebody can who knows how.
func TestWhatVerifyNames(t *testing.T) {
	const newBody = `UPDATE events SET body = replace(body, 'one', 'two') || ' ' WHERE seq = `
	cut := "the tail was cut: the ledger ends with event 12, the head that was kept names event 13"
	for _, tt := range []struct {
		name        string
		sql         string
		rehash      []int64 // events that get a hash that fits
		follow      bool    // and the hash before them that fits
		want        []string
		wantAndHead []string // beside want, with the head that was kept
	}{
		{name: "nothing"},
		{name: "a body changed", sql: newBody + "6", want: []string{"event 6, batch b1, doubted: " + changed}},
		{name: "the newest one's body changed", sql: newBody + "13", want: []string{"event 13, batch b2, noted: " + changed}},
		{name: "a time changed", sql: "UPDATE events SET at = '2026-01-02T12:00:00.123456788Z' WHERE seq = 11", want: []string{"event 11, batch b1, noted: " + changed}},
		{name: "an event given to another batch", sql: "UPDATE events SET batch = 'b2' WHERE seq = 11", want: []string{"event 11, batch b2, noted: " + changed}},
		{name: "a kind changed", sql: "UPDATE events SET kind = 'noted' WHERE seq = 10", want: []string{
			"event 10, batch b1, noted: " + changed, otherwise}},
		{name: "a hash changed", sql: "UPDATE events SET hash = zeroblob(32) WHERE seq = 6", want: []string{"event 6, batch b1, doubted: " + changed,
			"event 7, batch b1, accepted: it was written after another event 6 than the one that is there: that one was rewritten, or put in its place"}},
		{name: "a body changed and its hash with it", sql: newBody + "6", rehash: []int64{6}, want: []string{
			"event 7, batch b1, accepted: it was written after another event 6 than the one that is there: that one was rewritten, or put in its place"}},
		{name: "the newest one's body changed and its hash with it, which only a kept head shows", sql: newBody + "13", rehash: []int64{13},
			wantAndHead: []string{"event 13, batch b2, noted: it is not the event that the kept head names: the chain was rewritten"}},
		{name: "the chain rewritten from an event on, which only a kept head shows", sql: newBody + "6", rehash: []int64{6, 7, 8, 9, 10, 11, 12, 13}, follow: true,
			wantAndHead: []string{"event 13, batch b2, noted: it is not the event that the kept head names: the chain was rewritten"}},
		{name: "an event taken out", sql: "DELETE FROM events WHERE seq = 11", want: []string{"event 11: it is missing"}},
		{name: "three events taken out", sql: "DELETE FROM events WHERE seq IN (6, 10, 11)", want: []string{"event 6: it is missing", "event 10: it and all up to event 11 are missing", otherwise}},
		{name: "the first taken out", sql: "DELETE FROM events WHERE seq = 1", want: []string{"event 1: it is missing",
			"batch b1: its events can't be replayed: batch b1, event 3: a batch starts once, with its first fact"}},
		{name: "an event taken out and the next one chained to the one before", sql: "DELETE FROM events WHERE seq = 11", rehash: []int64{12}, follow: true, want: []string{"event 11: it is missing",
			"event 13, batch b2, noted: it was written after another event 12 than the one that is there: that one was rewritten, or put in its place"}},
		{name: "an event taken out and the others renumbered", sql: "DELETE FROM events WHERE seq = 11; UPDATE events SET seq = seq - 1 WHERE seq > 11",
			want: []string{"event 11, batch b1, ended: " + displaced, "event 12, batch b2, noted: " + changed}, wantAndHead: []string{cut}},
		{name: "two events swapped", sql: "UPDATE events SET seq = 99 WHERE seq = 11; UPDATE events SET seq = 11 WHERE seq = 6; UPDATE events SET seq = 6 WHERE seq = 99",
			want: []string{"event 6, batch b1, noted: " + displaced, "event 7, batch b1, accepted: it was written after another event 6 than the one that is there: that one was rewritten, or put in its place",
				"event 11, batch b1, doubted: " + displaced, "event 12, batch b1, ended: it was written after another event 11 than the one that is there: that one was rewritten, or put in its place"}},
		{name: "an event put in, the others renumbered", sql: "UPDATE events SET seq = 14 WHERE seq = 13; INSERT INTO events SELECT 13, batch, at, kind, body, prev, hash FROM events WHERE seq = 11",
			want: []string{"event 13, batch b1, noted: " + displaced, "event 14, batch b2, noted: " + displaced}, wantAndHead: []string{
				"event 13, batch b1, noted: it is not the event that the kept head names: the chain was rewritten"}},
		{name: "an event put in at the end without a chain", sql: "INSERT INTO events VALUES (14, 'b2', '', 'noted', '{}', x'', x'')",
			want: []string{"event 14, batch b2, noted: " + displaced}},
		{name: "an event put in at the end and chained, which nothing shows", sql: "INSERT INTO events VALUES (14, 'b2', '', 'noted', '{}', x'', x'')", rehash: []int64{14}, follow: true},
		{name: "the newest event cut off, which only a kept head shows", sql: "DELETE FROM events WHERE seq = 13", wantAndHead: []string{cut}},
		{name: "every event gone", sql: "DELETE FROM events; DELETE FROM batches",
			wantAndHead: []string{"the tail was cut: the ledger ends with event 0, the head that was kept names event 13"}},
		{name: "a chained event that does not follow from its batch's others", sql: `UPDATE events SET body = '{"dosing":7,"weighings":[{}]}' WHERE seq = 8`, rehash: []int64{8, 9, 10, 11, 12, 13}, follow: true,
			want:        []string{`batch b1: its events can't be replayed: batch b1, event 8: a fact of kind "reopened" does not follow from the facts before it: runtime error: index out of range [7] with length 2`},
			wantAndHead: []string{"event 13, batch b2, noted: it is not the event that the kept head names: the chain was rewritten"}},
		{name: "a verdict changed in the table of batches", sql: "UPDATE batches SET verdict = 'outside' WHERE id = 'b1'", want: []string{otherwise}},
		{name: "a summary changed", sql: "UPDATE batches SET summary = replace(summary, 'bench-1', 'bench-2') WHERE id = 'b1'", want: []string{otherwise}},
		{name: "a batch taken out of the table", sql: "DELETE FROM batches WHERE id = 'b1'", want: []string{"batch b1: events tell of it, and lists don't show it"}},
		{name: "a batch put in the table", sql: "INSERT INTO batches SELECT 'b0', station, material, created, verdict, weighed, finished, summary FROM batches WHERE id = 'b1'",
			want: []string{"batch b0: lists show it, and no event tells of it"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			l, kept := twoBatches(t)
			_, err := l.write.Exec(tt.sql)
			require.NoError(t, err)
			for _, seq := range tt.rehash {
				rehash(t, l, seq, tt.follow)
			}
			report, err := l.Verify(t.Context(), "")
			require.NoError(t, err)
			require.ElementsMatch(t, tt.want, found(report), "without a head")
			require.Equal(t, len(tt.want) == 0, report.Whole())
			report, err = l.Verify(t.Context(), kept)
			require.NoError(t, err)
			require.ElementsMatch(t, slices.Concat(tt.want, tt.wantAndHead), found(report), "with the head that was kept")
		})
	}
}

func found(r Report) (list []string) {
	for _, f := range r.Findings {
		list = append(list, f.String())
	}
	return list
}

// rehash gives the event a hash that fits, and the hash of the event before it if asked.
func rehash(t *testing.T, l *Ledger, seq int64, follow bool) {
	page, err := l.links(t.Context(), seq-1)
	require.NoError(t, err)
	e := page[0]
	if follow {
		var before int64
		require.NoError(t, l.read.QueryRow("SELECT max(seq) FROM events WHERE seq < ?", seq).Scan(&before))
		page, err := l.links(t.Context(), before-1)
		require.NoError(t, err)
		e.prev = page[0].hash
	}
	e.hash = e.sum()
	_, err = l.write.Exec("UPDATE events SET prev = ?, hash = ? WHERE seq = ?", e.prev[:], e.hash[:], seq)
	require.NoError(t, err)
}

// Whatever is done to one event of a chain, the first finding names it or the one after it.
func TestAnyChangeOfOneEventIsNamed(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		chain := make([]link, rapid.IntRange(2, 9).Draw(t, "events"))
		var h head
		for i := range chain {
			e := link{seq: int64(i + 1), batch: rapid.String().Draw(t, "batch"), at: rapid.String().Draw(t, "at"), kind: rapid.String().Draw(t, "kind"),
				body: rapid.String().Draw(t, "body"), prev: h.hash}
			e.hash = e.sum()
			chain[i], h = e, head{e.seq, e.hash}
		}
		findings := func() []Finding {
			var report Report
			w := walk{report: &report, kept: h}
			for i := range chain {
				w.next(&chain[i])
			}
			return report.Findings
		}
		require.Empty(t, findings())
		at := rapid.IntRange(0, len(chain)-1).Draw(t, "the one")
		e, was := &chain[at], chain[at]
		text := []*string{&e.batch, &e.at, &e.kind, &e.body}
		switch what := rapid.IntRange(0, 7).Draw(t, "what"); what {
		case 0, 1, 2, 3:
			*text[what] = rapid.String().Draw(t, "instead")
		case 4:
			e.hash[rapid.IntRange(0, 31).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		case 5:
			e.prev[rapid.IntRange(0, 31).Draw(t, "byte")] ^= 1 << rapid.IntRange(0, 7).Draw(t, "bit")
		case 6: // a change by somebody who knows how to hash
			e.body += "x"
			e.hash = e.sum()
		case 7:
			other := rapid.IntRange(0, len(chain)-1).Draw(t, "the other")
			chain[at], chain[other] = chain[other], chain[at]
			chain[at].seq, chain[other].seq = int64(at+1), int64(other+1)
			at = min(at, other)
		}
		if *e == was {
			require.Empty(t, findings())
			return
		}
		list := findings()
		require.NotEmpty(t, list)
		require.Contains(t, []int64{int64(at + 1), int64(at + 2)}, list[0].Seq)
	})
}

func TestManyFindingsAreCounted(t *testing.T) {
	l := open(t, t.TempDir())
	facts := []batch.Fact{started(t, "b1", "harbour-clear", noon)}
	for range 149 {
		facts = append(facts, batch.Noted{At: noon})
	}
	require.NoError(t, l.Append(t.Context(), "b1", facts...))
	_, err := l.write.Exec("UPDATE events SET at = ''")
	require.NoError(t, err)
	report, err := l.Verify(t.Context(), "")
	require.NoError(t, err)
	require.Len(t, report.Findings, 100)
	require.Equal(t, 50, report.More)
}

// A whole batch invented below the first place would else be read back and never be walked over.
func TestAnInventedBatchBeforeTheFirstPlaceIsNamed(t *testing.T) {
	l := open(t, t.TempDir())
	require.NoError(t, l.Append(t.Context(), "b1", allKinds(t, "b1")...))
	kept, err := l.Head(t.Context())
	require.NoError(t, err)
	_, err = l.write.Exec(`INSERT INTO events (seq, batch, at, kind, body, prev, hash)
		SELECT seq - 100, 'invented', at, kind, replace(body, 'b1', 'invented'), x'', x'' FROM events;
		INSERT INTO batches SELECT 'invented', station, material, created, verdict, weighed, finished, replace(summary, 'b1', 'invented') FROM batches`)
	require.NoError(t, err)
	report, err := l.Verify(t.Context(), kept)
	require.NoError(t, err)
	require.False(t, report.Whole())
	require.Equal(t, "event -99, batch invented, started: it was put in: places begin with 1", report.Findings[0].String())
}

func TestAHeadThatIsNoneIsRefused(t *testing.T) {
	l := open(t, t.TempDir())
	for _, kept := range []string{"garbage", "1:", "1:00", "-1:" + strings.Repeat("0", 64), "0:" + strings.Repeat("1", 64)} {
		_, err := l.Verify(t.Context(), kept)
		require.ErrorIs(t, err, ErrHead, kept)
	}
	_, err := l.Verify(t.Context(), "0:"+strings.Repeat("0", 64))
	require.NoError(t, err)
}
