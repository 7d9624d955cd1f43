package app

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"leat/controller"
	"leat/controller/web"
)

// Ask sends a request of this machine to the daemon of a state folder, over its local
// socket.
func Ask(folder string, form url.Values) (answer controller.Answer, err error) {
	return answer, overSocket(folder, "/ask", form, &answer)
}

// Ring lets the daemon of a state folder send a test on each way by which it tells people of
// alarms; none are configured where nothing comes back.
func Ring(folder string) (rung []web.Rung, err error) {
	return rung, overSocket(folder, "/ring", nil, &rung)
}

// overSocket posts a form to the daemon of a state folder and reads its answer.
func overSocket(folder, path string, form url.Values, answer any) error {
	socket := filepath.Join(folder, SocketName)
	client := http.Client{Timeout: 15 * time.Second, Transport: &http.Transport{
		DisableKeepAlives: true,
		DialContext: func(ctx context.Context, _, _ string) (net.Conn, error) {
			var d net.Dialer
			return d.DialContext(ctx, "unix", socket)
		}}}
	response, err := client.PostForm("http://leat"+path, form)
	if err != nil {
		if _, missing := os.Stat(socket); missing != nil {
			return fmt.Errorf("no daemon runs on %s; start it with leat run, or name with -state the folder that it uses", folder)
		}
		return fmt.Errorf("the daemon on %s does not answer: %w", folder, err)
	}
	defer response.Body.Close()
	text, err := io.ReadAll(io.LimitReader(response.Body, 1<<20))
	if err != nil {
		return err
	}
	if response.StatusCode != http.StatusOK {
		return fmt.Errorf("%s", strings.TrimSpace(string(text)))
	}
	return json.Unmarshal(text, answer)
}
