#!/bin/sh
# The picture of the page: a phone's screen (390 by 844) of the demo, some hours into its
# night. Run from the repository: deploy/pictures/page.sh (needs Go and Debian's chromium).
set -eu
cd "$(dirname "$0")/../.."
said=$(mktemp)
go build -o "$said.leat" ./cmd/leat
"$said.leat" demo -speed 300 -for 60s -listen 127.0.0.1:0 >"$said" 2>&1 &
demo=$!
trap 'kill $demo 2>/dev/null || true; rm -f "$said" "$said.leat"' EXIT
until grep -q '3:[0-9][0-9]  north' "$said"; do
  kill -0 $demo # a demo that has ended shows nothing
  sleep 1
done
page=$(sed -n 's/.*sign in  *\(http[^ ]*\).*/\1/p' "$said" | head -n 1)
chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --window-size=390,844 --virtual-time-budget=3000 \
  --screenshot=deploy/pictures/page.png "$page" >/dev/null 2>&1
