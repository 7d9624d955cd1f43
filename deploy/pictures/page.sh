#!/bin/sh
# The pictures of the pages, on a phone (390 wide) and a desktop (1440 wide): the demo, some hours
# into a night in which the acid runs out. Run from anywhere; needs Go and Debian's chromium.
#
#   deploy/pictures/page.sh                           all of them, beside this script
#   deploy/pictures/page.sh FOLDER 0:30 "home tank"   into FOLDER, at 0:30 of the demo, these pages alone
set -eu
cd "$(dirname "$0")/../.."
out=${1:-deploy/pictures}
hour=${2:-4:45}
pages=${3:-home tank past doses solution change enter probes alarm stocks refill pump record people signin}
work=$(mktemp -d)
go build -o "$work/leat" ./cmd/leat
"$work/leat" demo -speed 300 -fault acid-empty -for 10m -listen 127.0.0.1:0 -state "$work/state" >"$work/said" 2>&1 &
demo=$!
trap 'kill $demo 2>/dev/null || true; wait $demo 2>/dev/null || true; rm -rf "$work"' EXIT
until grep -q "^ *$hour  north" "$work/said"; do
  kill -0 $demo # a demo that has ended shows nothing
  sleep 1
done
link=$(sed -n 's/.*sign in  *\(http[^ ]*\).*/\1/p' "$work/said" | head -n 1)
base=${link%/enter*}

# take FILE WIDTH HEIGHT PATH
take() {
  chromium --headless --no-sandbox --disable-gpu --hide-scrollbars --disable-background-networking --user-data-dir="$work/profile" \
    --window-size="$2,$3" --timeout=2500 --screenshot="$1" "$base$4" >/dev/null 2>&1
  test -s "$1"
}

take "$work/signed-in.png" 390 844 "${link#"$base"}"
for page in $pages; do
  high=844
  case $page in
    home) path=/ ;;
    tank) path=/tank/north high=1700 ;;
    past) path=/tank/north/past/day high=1200 ;;
    doses | solution) path=/tank/north/$page high=1500 ;;
    change | enter | probes) path=/tank/north/$page high=1000 ;;
    pump) path=/pump/acid-north high=1000 ;;
    record) path=/record high=1300 ;;
    alarm) path=/alarm/north/no-response high=1000 ;;
    stocks) path=/stocks high=1300 ;;
    *) path=/$page ;;
  esac
  phone=$page-phone
  test "$page" != home || phone=page # with which the README begins
  take "$out/$phone.png" 390 $high $path
  take "$out/$page-desktop.png" 1440 900 $path
done
