package web

import (
	"context"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"leat/controller"
)

func TestAPhoneAbroadShowsTheFarmsZoneAndItsOwnTime(t *testing.T) {
	h := newHouse(t)
	ctx := phone(t)
	zoneOf := func(name string) {
		do(t, ctx, chromedp.Func(func(ctx context.Context, target *chromedp.Target) error {
			_, err := cdp.Call(ctx, target, emulation.SetTimezoneOverride, emulation.SetTimezoneOverrideParams{TimezoneID: name})
			return err
		}))
	}
	zoneOf("Asia/Tokyo")
	do(t, ctx, chromedp.Navigate(h.SignInLink(controller.RoleView)))
	waitFor(t, ctx, "abroad", `/^live 21:30:00 UTC \(here [0-2][0-9]:[0-5][0-9]\)$/.test(document.getElementById("live").textContent)`)
	zoneOf("UTC")
	do(t, ctx, chromedp.Reload())
	waitFor(t, ctx, "at home", `document.getElementById("live").textContent === "live 21:30:00"`)
}
