package deploy_test

import (
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

func TestThePicturesOfThePagesAreTakenByOneCommand(t *testing.T) {
	if os.Getenv("LEAT_REAL") != "1" {
		t.Skip("LEAT_REAL=1 takes pictures of the demo with Debian's chromium")
	}
	folder := t.TempDir()
	if said, err := exec.CommandContext(t.Context(), "pictures/page.sh", folder, "0:15", "home").CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, said)
	}
	for name, wide := range map[string]int{"page.png": 390, "home-desktop.png": 1440} {
		f, err := os.Open(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		picture, err := png.Decode(f)
		_ = f.Close()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		colours := map[any]bool{}
		for y := range picture.Bounds().Dy() {
			for x := range picture.Bounds().Dx() {
				colours[picture.At(x, y)] = true
			}
		}
		if picture.Bounds().Dx() != wide || len(colours) < 20 {
			t.Errorf("%s is %d px wide with %d colours", name, picture.Bounds().Dx(), len(colours))
		}
	}
}
