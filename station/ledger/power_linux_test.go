package ledger

import (
	"flag"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"syscall"
	"testing"
	"time"
	"unsafe"

	"github.com/stretchr/testify/require"
	sqlite3 "modernc.org/sqlite/lib"

	"twocup/station/batch"
)

var everyCut = flag.Bool("every-cut", false, "lose power after every single write to the disk")

// operation is what SQLite asked of the disk, in its order; or a mark that so many appends were acknowledged.
type operation struct {
	kind         string // write, truncate, sync, sync folder, delete, acknowledged
	file         string
	at           int64
	data         []byte
	acknowledged int
}

// recorder takes the place of the functions by which SQLite writes, and passes everything on to the ones that were
// there. SQLite holds the addresses of its functions out of the garbage collector's sight, so they are global, and the
// addresses of its tables of methods, so ours lie outside of Go's memory.
var recorder struct {
	log     []operation
	names   map[uintptr]string // of open files
	fresh   map[uintptr]bool   // those whose first sync is one of their folder as well
	vfs     *sqlite3.Tsqlite3_vfs
	vfsWas  sqlite3.Tsqlite3_vfs
	were    map[uintptr]*sqlite3.Tsqlite3_io_methods // of open files, the methods that were there
	methods []sqlite3.Tsqlite3_io_methods            // ours, one table for each kind of file
}

// Functions as SQLite calls them. The first argument is a pointer that is only passed on.
type (
	tls        = unsafe.Pointer
	openCall   = func(t tls, vfs, name, file uintptr, flags int32, out uintptr) int32
	deleteCall = func(t tls, vfs, name uintptr, sync int32) int32
	closeCall  = func(t tls, file uintptr) int32
	writeCall  = func(t tls, file, data uintptr, n int32, at int64) int32
	truncCall  = func(t tls, file uintptr, size int64) int32
	syncCall   = func(t tls, file uintptr, flags int32) int32
)

func at[T any](address uintptr) *T      { return *(**T)(unsafe.Pointer(&address)) }
func call[F any](address uintptr) F     { return *(*F)(unsafe.Pointer(&struct{ f uintptr }{address})) }
func address[F any](f F) (code uintptr) { return *(*uintptr)(unsafe.Pointer(&f)) }

func text(address uintptr) string {
	if address == 0 {
		return ""
	}
	n := 0
	for *at[byte](address + uintptr(n)) != 0 {
		n++
	}
	return string(unsafe.Slice(at[byte](address), n))
}

// record puts the recorder between SQLite and the disk until stop.
func record(t *testing.T) (stop func()) {
	r := &recorder
	memory, err := syscall.Mmap(-1, 0, os.Getpagesize(), syscall.PROT_READ|syscall.PROT_WRITE, syscall.MAP_ANON|syscall.MAP_PRIVATE)
	require.NoError(t, err)
	r.methods = unsafe.Slice((*sqlite3.Tsqlite3_io_methods)(unsafe.Pointer(&memory[0])), len(recorded))
	find := reflect.ValueOf(sqlite3.Xsqlite3_vfs_find) // its first argument is of a type that this module does not name
	found := find.Call([]reflect.Value{reflect.New(find.Type().In(0).Elem()), reflect.ValueOf(uintptr(0))})
	r.vfs = at[sqlite3.Tsqlite3_vfs](uintptr(found[0].Uint()))
	r.log, r.names, r.fresh, r.vfsWas = nil, map[uintptr]string{}, map[uintptr]bool{}, *r.vfs
	r.were = map[uintptr]*sqlite3.Tsqlite3_io_methods{}
	r.vfs.FxOpen, r.vfs.FxDelete = address(openCall(recordOpen)), address(deleteCall(recordDelete))
	return func() {
		r.vfs.FxOpen, r.vfs.FxDelete = r.vfsWas.FxOpen, r.vfsWas.FxDelete
		require.NoError(t, syscall.Munmap(memory))
	}
}

// recorded are the files that outlast a power cut; the shared memory is made anew.
var recorded = []string{"ledger.db", "ledger.db-wal", "ledger.db-journal"}

func recordOpen(t tls, vfs, name, file uintptr, flags int32, out uintptr) int32 {
	r, base := &recorder, filepath.Base(text(name))
	rc := call[openCall](r.vfsWas.FxOpen)(t, vfs, name, file, flags, out)
	if rc != sqlite3.SQLITE_OK || !slices.Contains(recorded, base) {
		return rc
	}
	r.names[file] = base
	r.fresh[file] = base != "ledger.db" && flags&sqlite3.SQLITE_OPEN_CREATE != 0 // as SQLite's unix layer has it (UNIXFILE_DIRSYNC)
	f := at[sqlite3.Tsqlite3_file](file)
	was, ours := at[sqlite3.Tsqlite3_io_methods](f.FpMethods), &r.methods[slices.Index(recorded, base)]
	*ours = *was
	ours.FxClose, ours.FxWrite = address(closeCall(recordClose)), address(writeCall(recordWrite))
	ours.FxTruncate, ours.FxSync = address(truncCall(recordTruncate)), address(syncCall(recordSync))
	r.were[file], f.FpMethods = was, uintptr(unsafe.Pointer(ours))
	return rc
}

func recordClose(t tls, file uintptr) int32 {
	delete(recorder.names, file)
	return call[closeCall](recorder.were[file].FxClose)(t, file)
}

func recordWrite(t tls, file, data uintptr, n int32, offset int64) int32 {
	r := &recorder
	r.log = append(r.log, operation{kind: "write", file: r.names[file], at: offset, data: slices.Clone(unsafe.Slice(at[byte](data), n))})
	return call[writeCall](recorder.were[file].FxWrite)(t, file, data, n, offset)
}

func recordTruncate(t tls, file uintptr, size int64) int32 {
	r := &recorder
	r.log = append(r.log, operation{kind: "truncate", file: r.names[file], at: size})
	return call[truncCall](recorder.were[file].FxTruncate)(t, file, size)
}

func recordSync(t tls, file uintptr, flags int32) int32 {
	r := &recorder
	rc := call[syncCall](recorder.were[file].FxSync)(t, file, flags)
	r.log = append(r.log, operation{kind: "sync", file: r.names[file]})
	if r.fresh[file] {
		r.log, r.fresh[file] = append(r.log, operation{kind: "sync folder"}), false
	}
	return rc
}

func recordDelete(t tls, vfs, name uintptr, sync int32) int32 {
	r := &recorder
	r.log = append(r.log, operation{kind: "delete", file: filepath.Base(text(name))})
	return call[deleteCall](r.vfsWas.FxDelete)(t, vfs, name, sync)
}

const sector = 512 // what a disk writes whole or not at all

// disk is what is on it for certain, and what was asked of it since.
type disk struct {
	durable map[string][]byte
	pending []operation
}

func (d *disk) do(o operation) {
	switch o.kind {
	case "sync":
		d.settle(func(p operation) bool { return p.file == o.file })
	case "sync folder": // what was deleted is gone, with all that was written to it before
		upTo, n := map[string]int{}, 0
		for n, p := range d.pending {
			if p.kind == "delete" {
				upTo[p.file] = n + 1
			}
		}
		d.settle(func(p operation) bool { n++; return n <= upTo[p.file] })
	default:
		d.pending = append(d.pending, o)
	}
}

// settle makes those of the pending operations durable.
func (d *disk) settle(those func(operation) bool) {
	rest := d.pending[:0]
	for _, p := range d.pending {
		if those(p) {
			apply(d.durable, p)
		} else {
			rest = append(rest, p)
		}
	}
	d.pending = rest
}

func apply(files map[string][]byte, o operation) {
	f, exists := files[o.file]
	switch o.kind {
	case "write":
		if missing := int(o.at) + len(o.data) - len(f); missing > 0 {
			f = append(f, make([]byte, missing)...)
		}
		copy(f[o.at:], o.data)
		files[o.file] = f
	case "truncate":
		if exists {
			files[o.file] = f[:min(len(f), int(o.at))]
		}
	case "delete":
		delete(files, o.file)
	}
}

// afterPowerLoss is what may be found on the disk: of what was not synced each sector by chance, in the order in which
// it was written. A share of 0 is nothing of it, 1 all.
func (d *disk) afterPowerLoss(random *rand.Rand, share float64) map[string][]byte {
	files := map[string][]byte{}
	for name, data := range d.durable {
		files[name] = slices.Clone(data)
	}
	for _, o := range d.pending {
		if o.kind != "write" {
			if random.Float64() < share {
				apply(files, o)
			}
			continue
		}
		for from := 0; from < len(o.data); {
			to := min(len(o.data), from+sector-int(o.at+int64(from))%sector)
			if random.Float64() < share {
				apply(files, operation{kind: "write", file: o.file, at: o.at + int64(from), data: o.data[from:to]})
			}
			from = to
		}
	}
	return files
}

// busyLife is what a ledger goes through: an older file is brought up to date, two batches are poured with their
// traces, the write-ahead log is put into the file again and again, and everything is closed and opened once more. It
// gives the older file, what was asked of the disk, and the appends in their order.
func busyLife(t *testing.T) (before map[string][]byte, log []operation, appended []batch.Fact) {
	dir := t.TempDir()
	db := oldFile(t, dir)
	for _, f := range allKinds(t, "b1")[:3] {
		insertOld(t, db, "b1", f)
		appended = append(appended, f)
	}
	require.NoError(t, db.Close())
	data, err := os.ReadFile(filepath.Join(dir, "ledger.db"))
	require.NoError(t, err)
	before = map[string][]byte{"ledger.db": data}

	stop := record(t)
	defer stop()
	r := &recorder
	for run := range 3 {
		l, err := Open(dir)
		require.NoError(t, err)
		_, err = l.write.Exec("PRAGMA wal_autocheckpoint = 12") // pages, so that a short life sees it often
		require.NoError(t, err)
		for n := range 12 {
			f := batch.Noted{At: noon.Add(time.Duration(run*100 + n)), Text: string(make([]byte, 100*n))}
			require.NoError(t, l.AppendTrace(t.Context(), "b1", pourTrace(30)))
			require.NoError(t, l.Append(t.Context(), "b1", f))
			appended = append(appended, f)
			r.log = append(r.log, operation{kind: "acknowledged", acknowledged: len(appended)})
		}
		require.NoError(t, l.Close())
	}
	require.Empty(t, r.names, "every file was closed while it was recorded")
	seen := map[string]int{}
	for _, o := range r.log {
		seen[o.kind+" "+o.file]++
	}
	t.Log(seen)
	for _, kind := range []string{"write ledger.db", "sync ledger.db", "write ledger.db-wal", "sync ledger.db-wal", "delete ledger.db-wal"} {
		require.Positive(t, seen[kind], kind)
	}
	return before, r.log, appended
}

// lose goes through the log, loses power after every step-th operation in several ways, and gives how often that was
// and how often something acknowledged was not there afterwards.
func lose(t *testing.T, before map[string][]byte, log []operation, appended []batch.Fact, step int) (cuts, lost int) {
	random := rand.New(rand.NewPCG(1, 2))
	d := disk{durable: map[string][]byte{"ledger.db": slices.Clone(before["ledger.db"])}}
	acknowledged := 3 // in the older file
	for n, o := range log {
		if o.kind == "acknowledged" {
			acknowledged = o.acknowledged
		} else {
			d.do(o)
		}
		if n%step != 0 && n != len(log)-1 {
			continue
		}
		for _, share := range []float64{0, 1, 0.5, 0.1, 0.9} {
			cuts++
			if !allThere(t, d.afterPowerLoss(random, share), appended, acknowledged) {
				lost++
			}
		}
	}
	return cuts, lost
}

// allThere opens what a power cut has left.
func allThere(t *testing.T, files map[string][]byte, appended []batch.Fact, acknowledged int) bool {
	dir, err := os.MkdirTemp(fastTemp, "twocup-power-")
	require.NoError(t, err)
	defer os.RemoveAll(dir)
	for name, data := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), data, 0o600))
	}
	l, err := Open(dir)
	if err != nil {
		return false
	}
	defer l.Close()
	entries, err := l.Entries(t.Context(), "b1")
	if err != nil || len(entries) < acknowledged {
		return false
	}
	require.Equal(t, appended[:len(entries)], facts(entries))
	report, err := l.Verify(t.Context(), "")
	return err == nil && report.Whole()
}

func TestAPowerCutLosesNothingAcknowledged(t *testing.T) {
	before, log, appended := busyLife(t)
	step := 23
	if *everyCut {
		step = 1
	}
	cuts, lost := lose(t, before, log, appended, step)
	t.Logf("%d operations on the disk, %d power cuts, %d lost something", len(log), cuts, lost)
	require.Zero(t, lost)
}

// The same with a disk that does not do what sync asks: the test must see it.
func TestADiskThatIgnoresSyncIsSeenToLose(t *testing.T) {
	before, log, appended := busyLife(t)
	log = slices.DeleteFunc(log, func(o operation) bool { return o.kind == "sync" })
	_, lost := lose(t, before, log, appended, 41)
	require.NotZero(t, lost)
}
