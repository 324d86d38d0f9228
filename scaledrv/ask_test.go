package scaledrv

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
)

// sentText is what the driver wrote, and when, since the start.
type sentText struct {
	at   time.Duration
	text string
}

// listener collects what the driver writes to a scale, which answers with what answer gives, after a while.
func listener(b *bench, after time.Duration, answer func(n int) string) (sent func() []sentText) {
	var heard []sentText
	far := b.link.scale()
	go func() {
		buffer := make([]byte, 100)
		for {
			n, err := far.Read(buffer)
			if err != nil {
				return
			}
			heard = append(heard, sentText{time.Since(b.link.start), string(buffer[:n])})
			if line := answer(len(heard)); line != "" {
				time.Sleep(after) // the bubble's time
				far.Write([]byte(line))
			}
		}
	}()
	return func() []sentText { synctest.Wait(); return heard }
}

const ms = time.Millisecond

func TestAScaleThatAnswersIsAskedOnTheBeat(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("SI\r\n"), Every: 100 * ms}, func(b *bench) {
		sent := listener(b, 20*ms, func(n int) string { return "\r\n" + line1 })
		b.pass(350 * ms)
		require.Equal(t, []sentText{{0, "SI\r\n"}, {100 * ms, "SI\r\n"}, {200 * ms, "SI\r\n"}, {300 * ms, "SI\r\n"}}, sent())
		require.Len(t, b.happened(), 3, "the first line waits for its second")
	})
}

func TestTheNextRequestWaitsForTheAnswer(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("Q\r\n"), Every: 100 * ms}, func(b *bench) {
		sent := listener(b, 250*ms, func(n int) string { return "\r\n" + line1 })
		b.pass(800 * ms)
		require.Equal(t, []sentText{{0, "Q\r\n"}, {250 * ms, "Q\r\n"}, {500 * ms, "Q\r\n"}, {750 * ms, "Q\r\n"}}, sent())
	})
}

func TestAnOverdueAnswerIsAskedForAgainOnceASecond(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("Q\r\n"), Every: 100 * ms}, func(b *bench) {
		sent := listener(b, 0, func(n int) string {
			if n < 4 {
				return ""
			}
			return "\r\n" + line1
		})
		b.pass(3250 * ms)
		require.Equal(t, []sentText{{0, "Q\r\n"}, {1000 * ms, "Q\r\n"}, {2000 * ms, "Q\r\n"}, {3000 * ms, "Q\r\n"}, {3100 * ms, "Q\r\n"}, {3200 * ms, "Q\r\n"}}, sent(),
			"requests do not pile up, and go on at their beat with the answer")
		require.Equal(t, []string{"silent", "up 1.0 g stable", "up 1.0 g stable"}, b.happened())
	})
}

func TestTheFirstAnswerAfterOpeningIsAnAnswerAlthoughItIsDropped(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("Q\r\n"), Every: 100 * ms}, func(b *bench) {
		sent := listener(b, 20*ms, func(n int) string { return line1 })
		b.pass(460 * ms)
		require.Equal(t, []sentText{{0, "Q\r\n"}, {120 * ms, "Q\r\n"}, {200 * ms, "Q\r\n"}, {300 * ms, "Q\r\n"}, {400 * ms, "Q\r\n"}}, sent(), "the beat goes on")
		require.Len(t, b.happened(), 3, "the second line waits for the third")
	})
}

func TestADamagedAnswerIsAnAnswer(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("Q\r\n"), Every: 100 * ms}, func(b *bench) {
		sent := listener(b, 0, func(n int) string { return "\r\nST,+00#1.0 g\r\n" })
		b.pass(250 * ms)
		require.Len(t, sent(), 3)
	})
}

func TestAScaleThatSendsByItselfIsSentNothing(t *testing.T) {
	onBench(t, &fakeLink{}, func(b *bench) {
		sent := listener(b, 0, func(int) string { return "" })
		b.send("\r\n" + line1 + line2)
		require.EqualError(t, b.Press(KeyTare), `press tare at the scale "fake": its entry states no command for it (nothing is sent that is not stated)`)
		require.EqualError(t, b.Press(KeyZero), `press zero at the scale "fake": its entry states no command for it (nothing is sent that is not stated)`)
		b.pass(time.Hour)
		require.Empty(t, sent())
	})
}

func TestAKeyIsSentAsItsEntrySaysWithinATenthOfASecond(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Tare: []byte("T\r\n"), Zero: []byte("Z\r\n")}, func(b *bench) {
		sent := listener(b, 0, func(int) string { return "" })
		b.pass(250 * ms)
		require.NoError(t, b.Press(KeyTare))
		require.ErrorContains(t, b.Press(KeyZero), "the key before it is still to be sent (try again)")
		b.pass(60 * ms)
		require.NoError(t, b.Press(KeyZero))
		b.pass(100 * ms)
		require.Equal(t, []sentText{{300 * ms, "T\r\n"}, {400 * ms, "Z\r\n"}}, sent())
	})
}

func TestALineThatTakesNothingIsLost(t *testing.T) {
	link := &fakeLink{}
	onBenchWith(t, link, Options{Request: []byte("Q\r\n")}, func(b *bench) {
		b.pass(time.Second) // nobody reads at the scale's end of the pipe
		require.Equal(t, []string{`down read "fake": write "Q\r\n": the line took nothing for 1s (check flow= and the cable)`}, b.happened())
		b.pass(100 * ms)
		require.Len(t, link.tries(), 2)
	})
}

func TestARequestAfterALossStartsAnew(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Request: []byte("Q\r\n"), Every: 100 * ms}, func(b *bench) {
		listener(b, 0, func(int) string { return "" })
		b.pass(50 * ms)
		b.link.scale().Close()
		b.pass(100 * ms)
		sent := listener(b, 0, func(int) string { return "" })
		b.pass(0)
		require.Equal(t, []sentText{{150 * ms, "Q\r\n"}}, sent(), "not a second after the request that was lost")
	})
}

func TestAKeyPressedWhileThePortIsAwayIsNotSentAtItsNextOpening(t *testing.T) {
	onBenchWith(t, &fakeLink{}, Options{Tare: []byte("T\r\n"), Zero: []byte("Z\r\n")}, func(b *bench) {
		b.link.failWith(errors.New("unplugged"))
		b.link.scale().Close()
		b.pass(time.Minute)
		require.NoError(t, b.Press(KeyTare))
		b.pass(time.Minute)
		b.link.failWith(nil)
		before := b.link.scale()
		for b.link.scale() == before {
			b.pass(100 * ms)
		}
		sent := listener(b, 0, func(int) string { return "" })
		b.pass(time.Second)
		require.Empty(t, sent())
		require.Contains(t, b.log.String(), "key not sent: the port was away")
		require.NoError(t, b.Press(KeyZero))
		b.pass(time.Second)
		require.Len(t, sent(), 1, "one pressed later is sent")
		require.Equal(t, "Z\r\n", sent()[0].text)
	})
}
