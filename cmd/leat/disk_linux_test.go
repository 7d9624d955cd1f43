package main

import (
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"leat/controller/app/apptest"
)

// mountSmall mounts a file system of a few megabytes, which only root may do.
func mountSmall(t *testing.T, size string) (string, error) {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size="+size+",mode=0755"); err != nil {
		return "", err
	}
	t.Cleanup(func() { _ = syscall.Unmount(folder, syscall.MNT_DETACH) })
	return folder, nil
}

// smallDisk is one of two megabytes.
func smallDisk(t *testing.T) string {
	t.Helper()
	folder, err := mountSmall(t, "2m")
	if err != nil {
		if apptest.Real() {
			t.Fatalf("a small file system cannot be mounted: %v; run the real tests as root", err)
		}
		t.Skipf("a small file system cannot be mounted: %v; this test needs root", err)
	}
	return folder
}

// fill writes until the disk is full, and returns the file that takes the room.
func fill(t *testing.T, folder string) string {
	t.Helper()
	path := filepath.Join(folder, "filler")
	file, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	for block := make([]byte, 4096); err == nil; _, err = file.Write(block) {
	}
	return path
}

func TestFullDiskHoldsAndDosingResumesWhenThereIsRoom(t *testing.T) {
	t.Parallel()
	broker := apptest.NewBroker(t)
	disk := smallDisk(t)
	path := apptest.Config(t, broker.URL())
	apptest.Edit(t, path, `folder = "`+apptest.State(path)+`"`, `folder = "`+filepath.Join(disk, "state")+`"`)
	farm := apptest.NewFarm(t, apptest.Load(t, path))
	daemon := running(t, path)
	arm(t, path)
	doses(t, farm, 1)

	filler := fill(t, disk)
	daemon.Await(`"ledger"`, `"state":"full"`)
	daemon.Await(`"interlock"`, `"ledger-unavailable"`, `"active":true`)
	apptest.Eventually(t, "/readyz says why the daemon cannot work", func() bool {
		code, body := get(t, page(t, daemon)+"/readyz")
		return code == 503 && strings.Contains(body, "the ledger is full")
	})
	apptest.Eventually(t, "what ran has ended", func() bool { return !farm.Pumping() })
	// Everything that was begun was written first.
	begun := farm.Starts()
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	doses(t, farm, 2)
	if farm.Starts() <= begun {
		t.Error("dosing did not resume")
	}

	// A full disk does not keep the daemon from ending.
	mark := len(daemon.Log())
	fill(t, disk)
	daemon.AwaitAfter(mark, `"ledger"`, `"state":"full"`)
	stopsCleanly(t, daemon)
	apptest.Eventually(t, "the pumps stand", func() bool { return !farm.Pumping() })
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	apptest.Covers(t, apptest.Record(t, filepath.Join(disk, "state")), farm)
	if twice := farm.Twice(); len(twice) > 0 {
		t.Errorf("ordered or dosed twice: %q", twice)
	}
}
