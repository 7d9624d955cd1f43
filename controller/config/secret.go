package config

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"runtime"
	"strings"
)

// longestSecret bounds what is read as a password or key.
const longestSecret = 64 << 10

// secret is a password, or what key calls it, from the one place that the file names. One
// in the file itself would be copied with it, into backups, questions and repositories.
func (b *rim) secret(table, key, file, variable, credential string) string {
	named := 0
	for _, place := range []string{file, variable, credential} {
		if place != "" {
			named++
		}
	}
	if named > 1 {
		b.fault(join(table, key+"_file"), "", "is one of several places for the "+key, fmt.Sprintf("state only one of %[1]s_file, %[1]s_env, %[1]s_credential", key))
		return ""
	}
	if b.env.Passwords == PasswordsUnused {
		return ""
	}
	switch {
	case file != "":
		return b.secretFile(join(table, key+"_file"), b.path(file))
	case variable != "":
		return b.variable(join(table, key+"_env"), variable)
	case credential != "":
		path := join(table, key+"_credential")
		if b.env.Credentials == "" {
			if b.env.Passwords == PasswordsChecked {
				b.warn(path, "the service manager gives the "+key+" "+quoted(credential)+" to leat run: it is not looked at here")
				return ""
			}
			b.fault(path, quoted(credential), "cannot be had: the service manager gave no credentials", "add LoadCredential="+credential+":FILE to the unit, or use "+key+"_file")
			return ""
		}
		if credential != filepath.Base(credential) || credential == ".." || credential == "." {
			b.fault(path, quoted(credential), "is not the name of a credential", "write the name without a folder")
			return ""
		}
		return b.secretFile(path, filepath.Join(b.env.Credentials, credential))
	}
	return ""
}

func (b *rim) variable(path, name string) string {
	if b.env.Variable != nil {
		if value, ok := b.env.Variable(name); ok && value != "" {
			return value
		}
	}
	if b.env.Passwords == PasswordsChecked {
		b.warn(path, "the variable "+quoted(name)+" is not set here: leat run refuses to start without it")
		return ""
	}
	b.fault(path, quoted(name), "is not set in the environment", "set the variable, or name a file")
	return ""
}

func (b *rim) secretFile(path, file string) string {
	if !b.private(path, file) {
		return ""
	}
	text, _, err := b.env.ReadSecret(file)
	if err != nil {
		b.fault(path, quoted(file), "cannot be read: "+reason(err), "check path and owner")
		return ""
	}
	value := strings.TrimRight(string(text), "\r\n")
	if value == "" {
		b.fault(path, quoted(file), "is empty", "put the secret into it")
	}
	return value
}

// private checks that not every account may read a secret file. Windows keeps its
// permissions elsewhere, where this check cannot see them.
func (b *frame) private(path, file string) bool {
	if b.env.ReadSecret == nil {
		b.fault(path, quoted(file), "cannot be read here", "use the file on the machine it is meant for")
		return false
	}
	_, mode, err := b.env.ReadSecret(file)
	if err != nil {
		b.fault(path, quoted(file), "cannot be read: "+reason(err), "check path and owner")
		return false
	}
	if mode.Perm()&0o007 != 0 && runtime.GOOS != "windows" && filepath.Dir(file) != b.env.Credentials {
		b.fault(path, quoted(file), "can be read by every account on this machine", "chmod 640 "+file+" or tighter")
		return false
	}
	return true
}

// reason is why a file cannot be read, without its path, which the fault names.
func reason(err error) string {
	var p *fs.PathError
	if errors.As(err, &p) {
		return p.Err.Error()
	}
	return err.Error()
}
