package desk

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
	"time"

	"leat/controller/store"
)

// backupLedger copies the record beside whoever writes it, and verifies the copy: one
// that cannot be put back is none. How it went is noted where the daemon reads it, so that a night without a copy calls
// somebody.
func backupLedger(state, path string, stdout io.Writer) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%s exists already; a copy never replaces an earlier one", path)
	}
	copied, err := copyLedger(state, path)
	if noted := store.NoteCopy(state, time.Now(), copied, err); noted != nil {
		err = errors.Join(err, fmt.Errorf("the daemon will not know of this copy: %w", noted))
	}
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %s; the chain holds\n", path, rowsOf(copied))
	return nil
}

func copyLedger(state, path string) (store.Copied, error) {
	db, err := store.OpenReader(state)
	if err != nil {
		return store.Copied{}, err
	}
	if err := errors.Join(db.Backup(path), db.Close()); err != nil {
		return store.Copied{}, err
	}
	copied, err := store.Examine(path)
	if err != nil {
		err = fmt.Errorf("the copy was written and does not verify: %w", err)
	}
	return copied, err
}

func rowsOf(c store.Copied) string {
	return fmt.Sprintf("%d rows from %s to %s, epoch %d", c.Rows, c.First.In(time.Local).Format(time.RFC3339), c.Last.In(time.Local).Format(time.RFC3339), c.Epoch)
}

// RestoreLedger puts a copy back once a person has said yes.
func RestoreLedger(state, path, note string, yes bool, stdin io.Reader, stdout io.Writer) error {
	release, err := store.Lock(state)
	if err != nil {
		return err
	}
	defer release()
	copied, err := store.Examine(path)
	if err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s: %s.\nDoses since then are not in it: of the %s that are missing as much counts as the caps allow. The next start begins\na new epoch, and every tank observes until a person arms it. The present ledger is kept beside it.\n",
		path, rowsOf(copied), time.Since(copied.Last).Round(time.Minute))
	if !yes {
		fmt.Fprint(stdout, "Put it back? Type yes: ")
		line, _ := bufio.NewReader(stdin).ReadString('\n') // nothing typed is no
		if strings.TrimSpace(line) != "yes" {
			return errors.New("nothing was changed")
		}
	}
	aside, err := store.Restore(state, copied, WhoAmI(), note)
	if err = errors.Join(err, store.HandOver(state)); err != nil {
		return err
	}
	fmt.Fprintf(stdout, "%s now holds the copy.\n", state)
	if aside != "" {
		fmt.Fprintf(stdout, "What it held before is in %s.\n", aside)
	}
	return nil
}
