package scaledrv

import (
	"fmt"
	"os"
	"os/user"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
)

// lock takes the device for this descriptor. The library's exclusive mode binds only those who come later and are not
// root; the lock binds all who ask for it, and a reader that was here first and asked nobody is looked for.
func lock(file *os.File, path string) error {
	err := onDescriptor(file, func(fd int) error { return syscall.Flock(fd, syscall.LOCK_EX|syscall.LOCK_NB) })
	switch {
	case err == syscall.EWOULDBLOCK:
		return syscall.EBUSY
	case err != nil:
		return err
	case len(holders(path, os.Getpid())) > 0:
		return syscall.EBUSY
	}
	return nil
}

// whyNot gives an error of opening its hint, with what can be found out about this device.
func (l *serialLink) whyNot(path string, err error) error {
	known := linkError("open serial port", l.device, err)
	switch known.Do {
	case hintBusy:
		if names := holders(path, 0); len(names) > 0 {
			known.Do += ": " + strings.Join(names, ", ")
		}
	case hintPermission:
		known.Do = permissionHint(path)
	}
	return known
}

const hintNoGroup = "no group may read and write this device: add a udev rule that gives it to group dialout"

// permissionHint names the group that the device belongs to.
func permissionHint(path string) string {
	info, err := os.Stat(path)
	if err != nil {
		return hintPermission
	}
	owner, ok := info.Sys().(*syscall.Stat_t)
	if !ok || info.Mode().Perm()&0o060 != 0o060 {
		return hintNoGroup
	}
	group, err := user.LookupGroupId(strconv.Itoa(int(owner.Gid)))
	if err != nil {
		return fmt.Sprintf("add the user to the group with the number %d", owner.Gid)
	}
	return "add the user to group " + group.Name
}

// holders are the processes, as "pid 123 (name)", that have the device of this path open, as far as we are allowed to
// see; without the process except, and without the makers of pseudo-terminals, who hold both ends.
func holders(path string, except int) (names []string) {
	device, err := os.Stat(path)
	if err != nil {
		return nil
	}
	processes, _ := filepath.Glob("/proc/[0-9]*")
	for _, process := range processes {
		pid := filepath.Base(process)
		if pid == strconv.Itoa(except) || !holds(process, path, device) {
			continue
		}
		name, _ := os.ReadFile(process + "/comm")
		names = append(names, fmt.Sprintf("pid %s (%s)", pid, plainText(string(name))))
	}
	return names
}

func holds(process, path string, device os.FileInfo) bool {
	folder, err := os.Open(process + "/fd")
	if err != nil {
		return false // another user's, or it has ended
	}
	defer folder.Close()
	numbers, _ := folder.Readdirnames(-1)
	opened := func(number string) string {
		target, _ := os.Readlink(process + "/fd/" + number)
		return target
	}
	if strings.HasPrefix(path, "/dev/pts/") && slices.ContainsFunc(numbers, func(number string) bool {
		return strings.HasSuffix(opened(number), "/ptmx")
	}) {
		return false
	}
	return slices.ContainsFunc(numbers, func(number string) bool {
		if opened(number) != path {
			return false
		}
		info, err := os.Stat(process + "/fd/" + number) // the same name may be another device's in a container
		return err == nil && os.SameFile(info, device)
	})
}
