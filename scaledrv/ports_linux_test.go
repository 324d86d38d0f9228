package scaledrv

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
)

// tree is what the system knows of its devices, laid out as sysfs and udev do: /sys/class/tty holds links into
// /sys/devices, where a port's own folder has a link `device` back to what it hangs on (Documentation/admin-guide/sysfs-rules.rst).
type tree struct {
	t    testing.TB
	root string
}

func newTree(t testing.TB) tree {
	tr := tree{t, t.TempDir()}
	tr.folder("sys/class/tty")
	tr.folder("dev")
	return tr
}

func (tr tree) path(name string) string { return filepath.Join(tr.root, name) }

func (tr tree) folder(name string) { require.NoError(tr.t, os.MkdirAll(tr.path(name), 0o755)) }

func (tr tree) file(name, text string) {
	tr.folder(filepath.Dir(name))
	require.NoError(tr.t, os.WriteFile(tr.path(name), []byte(text), 0o644)) // as in sysfs
}

func (tr tree) link(name, target string) {
	tr.folder(filepath.Dir(name))
	require.NoError(tr.t, os.Symlink(target, tr.path(name)))
}

// usb is what a USB device states of itself.
type usb struct{ vid, pid, maker, product, serial string }

// plug puts a USB device into a socket such as 1-2, without ports.
func (tr tree) plug(socket string, u usb) (dir string) {
	dir = "sys/devices/pci0000:00/0000:00:14.0/usb1/" + socket
	for name, text := range map[string]string{
		"idVendor": u.vid, "idProduct": u.pid, "manufacturer": u.maker, "product": u.product, "serial": u.serial,
	} {
		if text != "" { // there is no file for a string that a device does not have
			tr.file(dir+"/"+name, text+"\n")
		}
	}
	return dir
}

// terminal makes a port of this name in a folder under the device's, such as 1-2:1.0/ttyUSB0, and its node.
func (tr tree) terminal(name, device string) {
	dir := device + "/tty/" + name
	tr.folder(dir)
	tr.link(dir+"/device", "../..")
	tr.link("sys/class/tty/"+name, "../../../"+dir)
	tr.file("dev/"+name, "")
}

// converter plugs in a serial converter as usb-serial drivers show it, with the names that udev gives it.
func (tr tree) converter(socket, name string, u usb, byID string) {
	tr.terminal(name, tr.plug(socket, u)+"/"+socket+":1.0/"+name)
	if byID != "" {
		_ = os.Remove(tr.path("dev/serial/by-id/" + byID)) // the last one takes the name
		tr.link("dev/serial/by-id/"+byID, "../../"+name)
	}
	tr.link("dev/serial/by-path/pci-0000:00:14.0-usb-0:"+strings.TrimPrefix(socket, "1-")+":1.0-port0", "../../"+name)
}

// hid plugs in a device of hidraw: its folder names bus, vendor and product, and links to it lie in /sys/class/hidraw.
func (tr tree) hid(node string, vid, pid, name string, descriptor []byte) {
	dir := "sys/devices/pci0000:00/0000:00:14.0/usb1/1-5/1-5:1.0/0003:" + vid + ":" + pid + ".0001"
	dir = strings.ReplaceAll(dir, "1-5", node)
	tr.file(dir+"/uevent", "DRIVER=hid-generic\nHID_ID=0003:0000"+vid+":0000"+pid+"\nHID_NAME="+name+"\n")
	tr.file(dir+"/report_descriptor", string(descriptor))
	tr.folder(dir + "/hidraw/" + node)
	tr.link(dir+"/hidraw/"+node+"/device", "../../../"+filepath.Base(dir))
	tr.link("sys/class/hidraw/"+node, "../../../"+dir+"/hidraw/"+node)
	tr.file("dev/"+node, "")
}

// An application collection of the Scales page (USB-IF HID Usage Tables: 0x8D, usage 1 Scales), and one of a keyboard
// (Generic Desktop 0x01, usage 6); the items are those of the Device Class Definition for HID 1.11, 6.2.2.
var (
	scaleDescriptor    = []byte{0x05, 0x8D, 0x09, 0x01, 0xA1, 0x01, 0xC0}
	keyboardDescriptor = []byte{0x05, 0x01, 0x09, 0x06, 0xA1, 0x01, 0xC0}
)

func (tr tree) list() []ListedPort {
	list, err := listPorts(tr.root)
	require.NoError(tr.t, err)
	return list
}

// in says what is listed, a line for each.
func in(list []ListedPort) (lines []string) {
	for _, p := range list {
		line := fmt.Sprintf("%s %s %s:%s %q %q %q %s", p.Device, p.Kind, p.VID, p.PID, p.Maker, p.Name, p.Serial, p.Link)
		if p.Err != nil {
			line += " " + p.Err.Error()
		}
		lines = append(lines, line)
	}
	return lines
}

var cable = usb{"1234", "abcd", "Invented Works", "Bench Cable", "IW0042"}

func TestPortsOfASystem(t *testing.T) {
	for _, tt := range []struct {
		name  string
		build func(tree)
		want  []string
	}{
		{"none", func(tree) {}, nil},
		{"a converter is named by what it states of itself", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", cable, "usb-Invented_Works_Bench_Cable_IW0042-if00-port0")
		}, []string{`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0`}},
		{"of two that state the same, each is named by its socket", func(tr tree) {
			plain := usb{"1234", "abcd", "Invented Works", "Bench Cable", ""}
			tr.converter("1-2", "ttyUSB0", plain, "usb-Invented_Works_Bench_Cable-if00-port0")
			tr.converter("1-3", "ttyUSB1", plain, "usb-Invented_Works_Bench_Cable-if00-port0")
		}, []string{
			`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "" serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0`,
			`/dev/ttyUSB1 serial 1234:abcd "Invented Works" "Bench Cable" "" serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:3:1.0-port0`,
		}},
		{"two that differ in their serial numbers keep their own names", func(tr tree) {
			other := cable
			other.serial = "IW0043"
			tr.converter("1-2", "ttyUSB0", cable, "usb-Invented_Works_Bench_Cable_IW0042-if00-port0")
			tr.converter("1-3", "ttyUSB1", other, "usb-Invented_Works_Bench_Cable_IW0043-if00-port0")
		}, []string{
			`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0`,
			`/dev/ttyUSB1 serial 1234:abcd "Invented Works" "Bench Cable" "IW0043" serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0043-if00-port0`,
		}},
		{"two ports of one converter have names of their own", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", cable, "usb-Invented_Works_Bench_Cable_IW0042-if00-port0")
			tr.terminal("ttyUSB1", "sys/devices/pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.1/ttyUSB1")
			tr.link("dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if01-port0", "../../ttyUSB1")
		}, []string{
			`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0`,
			`/dev/ttyUSB1 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if01-port0`,
		}},
		{"a scale with a serial port of its own hangs on its interface", func(tr tree) {
			tr.terminal("ttyACM0", tr.plug("1-4", usb{"4321", "00ff", "", "Bench Scale", ""})+"/1-4:1.0")
			tr.link("dev/serial/by-id/usb-4321_Bench_Scale-if00", "../../ttyACM0")
		}, []string{`/dev/ttyACM0 serial 4321:00ff "" "Bench Scale" "" serial:/dev/serial/by-id/usb-4321_Bench_Scale-if00`}},
		{"a port on the board is listed where it has a chip", func(tr tree) {
			tr.terminal("ttyS0", "sys/devices/pnp0/00:05")
			tr.file("sys/devices/pnp0/00:05/tty/ttyS0/type", "4\n")
			tr.terminal("ttyS1", "sys/devices/platform/serial8250")
			tr.file("sys/devices/platform/serial8250/tty/ttyS1/type", "0\n")
		}, []string{`/dev/ttyS0 serial : "" "" "" serial:/dev/ttyS0`}},
		{"virtual terminals and what else lies there are left out", func(tr tree) {
			tr.folder("sys/devices/virtual/tty/tty1")
			tr.link("sys/class/tty/tty1", "../../devices/virtual/tty/tty1")
			tr.link("sys/class/tty/ptmx", "../../devices/virtual/tty/ptmx") // a link to nothing
			tr.folder("sys/devices/odd/tty/ttyUSB7")
			tr.link("sys/devices/odd/tty/ttyUSB7/device", "../../gone")
			tr.link("sys/class/tty/ttyUSB7", "../../devices/odd/tty/ttyUSB7")
			tr.file("sys/class/tty/version", "1\n")
		}, nil},
		{"a broken link under /dev/serial is no name", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", cable, "")
			tr.link("dev/serial/by-id/usb-Old_Thing-if00-port0", "../../ttyUSB5")
		}, []string{`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0`}},
		{"one that vanished after it was listed, or that a container was not given", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", cable, "usb-Invented_Works_Bench_Cable_IW0042-if00-port0")
			require.NoError(tr.t, os.Remove(tr.path("dev/ttyUSB0")))
		}, []string{`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/ttyUSB0 ` +
			`look at serial port "/dev/ttyUSB0": no such file or directory (it has been unplugged just now, or the container this runs in has not been given it)`}},
		{"ids that are none are not printed", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", usb{"12345", "abcd", "Invented Works", "", ""}, "")
		}, []string{`/dev/ttyUSB0 serial : "Invented Works" "" "" serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0`}},
		{"no control character of a device reaches a terminal", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", usb{"1234", "abcd", "\x1b]0;owned\a\u202e\xff", " Bench\x00\nCable ", "\t"}, "usb-\x1b[31m")
		}, []string{"/dev/ttyUSB0 serial 1234:abcd \"\ufffd]0;owned\ufffd\ufffd\ufffd\" \"Bench\ufffd\ufffdCable\" \"\"" + ` serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0`}},
		{"a name that a link can't hold is not used", func(tr tree) {
			tr.converter("1-2", "ttyUSB0", cable, "usb-Cable?baud=1200")
		}, []string{`/dev/ttyUSB0 serial 1234:abcd "Invented Works" "Bench Cable" "IW0042" serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0`}},
		{"a HID scale is named by its ids, and a keyboard is none", func(tr tree) {
			tr.hid("hidraw0", "1209", "0001", "Invented Keys", keyboardDescriptor)
			tr.hid("hidraw1", "1209", "00FE", "Invented Bench Scale", scaleDescriptor)
		}, []string{`/dev/hidraw1 hid 1209:00fe "" "Invented Bench Scale" "" hid:1209:00fe`}},
		{"of HID scales with the same ids each goes by its node", func(tr tree) {
			tr.hid("hidraw0", "1209", "00FE", "Invented\x1b Scale", scaleDescriptor)
			tr.hid("hidraw1", "1209", "00FE", "Invented Scale", scaleDescriptor)
			tr.hid("hidraw2", "1209", "00FE", "Its keys", keyboardDescriptor)
		}, []string{"/dev/hidraw0 hid 1209:00fe \"\" \"Invented\ufffd Scale\" \"\" hid:/dev/hidraw0", `/dev/hidraw1 hid 1209:00fe "" "Invented Scale" "" hid:/dev/hidraw1`}},
		{"a HID scale that vanished after it was listed", func(tr tree) {
			tr.hid("hidraw0", "1209", "00FE", "Invented Scale", scaleDescriptor)
			require.NoError(tr.t, os.Remove(tr.path("dev/hidraw0")))
		}, []string{`/dev/hidraw0 hid 1209:00fe "" "Invented Scale" "" hid:1209:00fe ` +
			`look at HID scale "/dev/hidraw0": no such file or directory (it has been unplugged just now, or the container this runs in has not been given it)`}},
		{"they stand in the order of their numbers", func(tr tree) {
			for _, n := range []string{"10", "9", "2"} {
				tr.terminal("ttyAMA"+n, "sys/devices/soc/"+n)
			}
		}, []string{`/dev/ttyAMA2 serial : "" "" "" serial:/dev/ttyAMA2`, `/dev/ttyAMA9 serial : "" "" "" serial:/dev/ttyAMA9`, `/dev/ttyAMA10 serial : "" "" "" serial:/dev/ttyAMA10`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tr := newTree(t)
			tt.build(tr)
			require.Equal(t, tt.want, in(tr.list()))
		})
	}
}

func TestASystemWithoutTerminalsHasNoPorts(t *testing.T) {
	list, err := listPorts(t.TempDir())
	require.NoError(t, err)
	require.Empty(t, list)
}

func TestStableNamesThatLeadToAPort(t *testing.T) {
	tr := newTree(t)
	tr.converter("1-2", "ttyUSB0", cable, "usb-Invented_Works_Bench_Cable_IW0042-if00-port0")
	require.Equal(t, []string{
		"/dev/serial/by-id/usb-Invented_Works_Bench_Cable_IW0042-if00-port0",
		"/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0",
	}, tr.list()[0].Stable)
}

func TestAPortInUseNamesWhoHasIt(t *testing.T) {
	tr := newTree(t)
	tr.converter("1-2", "ttyUSB0", cable, "")
	holder, err := os.Open(tr.path("dev/ttyUSB0"))
	require.NoError(t, err)
	defer holder.Close()
	const comm = "/proc/self/comm"
	name, err := os.ReadFile(comm)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(comm, []byte("a\x1b[1m"), 0o644)) // a process may call itself anything
	defer func() { require.NoError(t, os.WriteFile(comm, name, 0o644)) }()
	require.EqualError(t, tr.list()[0].Err, fmt.Sprintf(
		"open serial port \"/dev/ttyUSB0\": device or resource busy (another program reads this port: end it: pid %d (a\ufffd[1m))", os.Getpid()))
}

func TestAPortThatThisUserMayNotOpenSaysWhatToDo(t *testing.T) {
	if os.Getuid() != 0 {
		t.Skip("only root can become another user")
	}
	root, err := os.MkdirTemp("", "twocup-ports-") // t.TempDir is closed to others
	require.NoError(t, err)
	defer os.RemoveAll(root)
	require.NoError(t, os.Chmod(root, 0o755))
	tr := tree{t, root}
	for name, mode := range map[string]os.FileMode{"ttyUSB0": 0o660, "ttyUSB1": 0o600, "ttyUSB2": 0o666, "ttyUSB3": 0o604} {
		tr.terminal(name, "sys/devices/"+name)
		require.NoError(t, os.Chmod(tr.path("dev/"+name), mode))
		require.NoError(t, os.Chown(tr.path("dev/"+name), 0, 1)) // group 1 is daemon in Debian's base-passwd
	}
	tr.hid("hidraw0", "1209", "00FE", "Invented Scale", scaleDescriptor)
	require.NoError(t, os.Chmod(tr.path("dev/hidraw0"), 0o600))
	lines := make(chan []string)
	go func() {
		becomeNobody()
		lines <- in(tr.list())
	}()
	require.Equal(t, []string{
		`/dev/hidraw0 hid 1209:00fe "" "Invented Scale" "" hid:1209:00fe open HID scale "/dev/hidraw0": permission denied (no group may read and write this device: ` +
			`add a udev rule that gives it to group dialout: KERNEL=="hidraw*", ATTRS{idVendor}=="1209", ATTRS{idProduct}=="00fe", GROUP="dialout", MODE="0660")`,
		`/dev/ttyUSB0 serial : "" "" "" serial:/dev/ttyUSB0 open serial port "/dev/ttyUSB0": permission denied (add the user to group daemon)`,
		`/dev/ttyUSB1 serial : "" "" "" serial:/dev/ttyUSB1 open serial port "/dev/ttyUSB1": permission denied (no group may read and write this device: add a udev rule that gives it to group dialout)`,
		`/dev/ttyUSB2 serial : "" "" "" serial:/dev/ttyUSB2`,
		`/dev/ttyUSB3 serial : "" "" "" serial:/dev/ttyUSB3 open serial port "/dev/ttyUSB3": permission denied (no group may read and write this device: add a udev rule that gives it to group dialout)`,
	}, <-lines)
}

// becomeNobody takes root's rights from the thread of this goroutine alone; it ends with the goroutine, unlocked never.
func becomeNobody() {
	runtime.LockOSThread()
	const nobody = 65534
	_, _, groups := unix.RawSyscall(unix.SYS_SETGROUPS, 0, 0, 0)
	_, _, group := unix.RawSyscall(unix.SYS_SETRESGID, nobody, nobody, nobody)
	_, _, user := unix.RawSyscall(unix.SYS_SETRESUID, nobody, nobody, nobody)
	if groups != 0 || group != 0 || user != 0 {
		panic(fmt.Sprint("become nobody: ", groups, group, user))
	}
}

// Whatever a device states, one line of printable text comes of it.
func TestAnyTextOfADeviceIsPrintable(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := plainText(string(rapid.SliceOf(rapid.Byte()).Draw(t, "stated")))
		for _, r := range text {
			require.True(t, r >= ' ' && r != 0x7f && (r < 0x80 || r >= 0xa0), "%q", text)
			require.NotContains(t, "\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069", string(r)) // Unicode's bidirectional controls (UAX #9)
		}
	})
}
