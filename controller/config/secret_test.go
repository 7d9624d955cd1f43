package config

import (
	"io/fs"
	"os"
	"runtime"
	"strings"
	"testing"
)

// vault is an environment with one secret file of a given mode.
func vault(mode fs.FileMode, text string) Env {
	e := stranger()
	e.ReadSecret = func(path string) ([]byte, fs.FileMode, error) {
		if strings.HasSuffix(path, "broker.password") {
			return []byte(text), mode, nil
		}
		return nil, 0, &fs.PathError{Op: "open", Path: path, Err: fs.ErrNotExist}
	}
	e.Variable = func(name string) (string, bool) { return "from the air", name == "LEAT_BROKER" }
	e.Credentials = "/run/credentials/leat"
	return e
}

func TestPasswordComesFromFileEnvironmentOrCredentialAndNothingElse(t *testing.T) {
	base := good(t, "plain.toml")
	for key, want := range map[string]string{
		`password_file = "broker.password"`:       "swordfish",
		`password_env = "LEAT_BROKER"`:            "from the air",
		`password_credential = "broker.password"`: "swordfish",
	} {
		text := changed(t, base, `prefix = "farm"`, "user = \"leat\"\n"+key)
		f, err := Parse("farm.toml", []byte(text), vault(0o600, "swordfish\n"))
		if err != nil {
			t.Errorf("%s: %v", key, err)
		} else if f.Broker.Password != want {
			t.Errorf("%s: password %q", key, f.Broker.Password)
		}
	}
	two := changed(t, base, `prefix = "farm"`, "user = \"leat\"\npassword_file = \"broker.password\"\npassword_env = \"LEAT_BROKER\"")
	if _, err := Parse("farm.toml", []byte(two), vault(0o600, "swordfish")); err == nil || !strings.Contains(err.Error(), "state only one") {
		t.Errorf("two places for one password: %v", err)
	}
}

func TestASecretThatEveryAccountCanReadIsRefused(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("Windows keeps permissions where a file mode does not show them")
	}
	text := changed(t, good(t, "plain.toml"), `prefix = "farm"`, "user = \"leat\"\npassword_file = \"broker.password\"")
	for mode, refused := range map[fs.FileMode]bool{0o600: false, 0o640: false, 0o644: true, 0o604: true} {
		_, err := Parse("farm.toml", []byte(text), vault(mode, "swordfish"))
		if (err != nil) != refused {
			t.Errorf("mode %v: %v", mode, err)
		}
		if err != nil && strings.Contains(err.Error(), "swordfish") {
			t.Errorf("the error repeats the secret: %v", err)
		}
	}
	if _, err := Parse("farm.toml", []byte(text), vault(0o600, "\n")); err == nil || !strings.Contains(err.Error(), "is empty") {
		t.Errorf("an empty password: %v", err)
	}
}

func TestLoadReadsASecretBesideTheFile(t *testing.T) {
	folder := t.TempDir()
	text := changed(t, good(t, "plain.toml"), `prefix = "farm"`, "user = \"leat\"\npassword_file = \"broker.password\"")
	for name, body := range map[string]string{"farm.toml": text, "broker.password": "swordfish\n"} {
		if err := os.WriteFile(folder+"/"+name, []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	f, err := Load(folder + "/farm.toml")
	if err != nil {
		t.Fatal(err)
	}
	if f.Broker.Password != "swordfish" || f.State != folder+"/records" {
		t.Errorf("password %q, state %q", f.Broker.Password, f.State)
	}
	if _, err := Load(folder + "/nowhere.toml"); err == nil || !strings.Contains(err.Error(), "-config") {
		t.Errorf("a file that is not there: %v", err)
	}
}

func TestAPersonAtAShellNeedsNoneOfTheServicesPasswords(t *testing.T) {
	base := good(t, "plain.toml")
	for key, warning := range map[string]string{
		`password_credential = "broker-password"`: "it is not looked at here",
		`password_env = "LEAT_BROKER"`:            "leat run refuses to start without it",
		`password_file = "none.password"`:         "", // a file is there for whoever may read it: its absence is a fault of the check
	} {
		text := []byte(changed(t, base, `prefix = "farm"`, "user = \"leat\"\n"+key))
		env := stranger()
		if _, err := Parse("farm.toml", text, env); err == nil {
			t.Errorf("%s: the daemon would start without its password", key)
		}
		env.Passwords = PasswordsUnused
		if _, err := Parse("farm.toml", text, env); err != nil {
			t.Errorf("%s: a person who does not connect is refused: %v", key, err)
		}
		env.Passwords = PasswordsChecked
		report := check("farm.toml", text, env)
		if report.OK != (warning != "") || warning != "" && !strings.Contains(strings.Join(report.Warnings, "\n"), warning) {
			t.Errorf("%s: checked, ok %v, faults %v, warnings %q", key, report.OK, report.Faults, report.Warnings)
		}
	}
}
