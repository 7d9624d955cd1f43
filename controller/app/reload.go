package app

import (
	"errors"
	"fmt"
	"strings"

	"go.uber.org/zap"

	"leat/controller"
	"leat/controller/config"
	"leat/controller/diary"
	"leat/controller/payload"
)

// reload reads the configuration again. It is taken whole and valid or not at all,
// and what needs a restart is not taken half.
func (a *App) reload() error {
	if a.options.Reload == nil {
		return errors.New("this daemon has no configuration file to read again")
	}
	fresh, err := a.options.Reload()
	if err != nil {
		a.metrics.Reload(false)
		a.log.Error("configuration refused; the old one stays in force", zap.Error(err))
		return err
	}
	changes, refusals := config.Compare(a.file, fresh)
	if len(refusals) > 0 {
		a.metrics.Reload(false)
		err := fmt.Errorf("configuration not taken, the old one stays in force: %s", strings.Join(refusals, "; "))
		a.log.Error("configuration refused", zap.Error(err))
		return err
	}
	intake, err := a.freshIntake(fresh)
	if err != nil {
		a.metrics.Reload(false)
		a.log.Error("configuration refused; the old one stays in force", zap.Error(err))
		return err
	}
	a.metrics.Reload(true)
	a.intake, a.file.Log = intake, fresh.Log
	for _, change := range changes {
		a.log.Info("configuration", zap.String("change", change))
	}
	now := a.clock.Now()
	a.diary.Reconfigured(diary.StationOf(&fresh.Settings, fresh.Zone.String(), now.Wall))
	a.driver.step(now, controller.Event{Kind: controller.EventSettings, Settings: &fresh.Settings})
	return nil
}

// freshIntake is the intake of a new file: the present one, with the temperatures
// that it knows, unless the solution by which it compensates has changed.
func (a *App) freshIntake(fresh *config.File) (*payload.Intake, error) {
	for i := range fresh.Settings.Safety.Tanks {
		if fresh.Settings.Safety.Tanks[i].Expected() != a.file.Settings.Safety.Tanks[i].Expected() {
			return newIntake(fresh)
		}
	}
	return a.intake, nil
}
