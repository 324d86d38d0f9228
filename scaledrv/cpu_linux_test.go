package scaledrv

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/creack/pty"
	"go.bug.st/serial"
)

// The scale of these benchmarks is a process of its own, so that what is measured is the reading alone.
func TestScaleOfTheCPUBenchmarks(t *testing.T) {
	if os.Getenv("SCALE_OF_BENCHMARK") == "" {
		t.Skip("the scale of a benchmark")
	}
	out := os.NewFile(3, "line")
	fmt.Fprint(out, "\r\n")
	for i := range 100_000 {
		if _, err := fmt.Fprintf(out, "US,NT,+%05d.%02d  g\r\n", i/100%100_000, i%100); err != nil {
			return
		}
		time.Sleep(20 * time.Millisecond) // 50 lines a second, as a scale would: this is no test's synchronisation
	}
}

// startScale gives the path of a pseudo-terminal on which lines come at 50 Hz.
func startScale(b *testing.B) string {
	near, far, err := pty.Open()
	if err != nil {
		b.Fatal(err)
	}
	scale := exec.Command(os.Args[0], "-test.run", "^TestScaleOfTheCPUBenchmarks$")
	scale.Env, scale.ExtraFiles = append(os.Environ(), "SCALE_OF_BENCHMARK=1"), []*os.File{near}
	if err := scale.Start(); err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() {
		_ = scale.Process.Kill()
		_ = scale.Wait()
		near.Close()
		far.Close()
	})
	return far.Name()
}

func usedCPU(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// report takes lines from next, 50 a second, and reports the CPU time that a thousand of them cost.
func report(b *testing.B, next func()) {
	for range 10 {
		next()
	}
	before := usedCPU(b)
	for b.Loop() {
		next()
	}
	b.ReportMetric(float64(usedCPU(b)-before)/float64(b.N)/1000, "cpu-ms/1000lines")
}

// One whole driver, from the pseudo-terminal to the reading in its channel. What is done with it there is no part of it:
// the channel is emptied half a second's worth at a time.
func BenchmarkCPUOfADriverAt50Hz(b *testing.B) {
	d := Start(b.Context(), mustParseLink(b, "serial:"+startScale(b)), statusCommaShape, Options{})
	report(b, func() {
		for len(d.Events()) == 0 {
			time.Sleep(500 * time.Millisecond)
		}
		<-d.Events()
	})
}

// The floor to compare with: a plain loop over the serial library's own Read that looks for the end of a line.
func BenchmarkCPUOfThePlainLoopAt50Hz(b *testing.B) {
	port, err := serial.Open(startScale(b), &serial.Mode{BaudRate: 9600, DataBits: 8})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { port.Close() })
	buffer := make([]byte, 4096)
	report(b, func() {
		for {
			n, err := port.Read(buffer)
			if err != nil {
				b.Fatal(err)
			}
			if strings.Contains(string(buffer[:n]), "\n") {
				return
			}
		}
	})
}

func mustParseLink(b *testing.B, text string) Link {
	link, err := ParseLink(text)
	if err != nil {
		b.Fatal(err)
	}
	return link
}
