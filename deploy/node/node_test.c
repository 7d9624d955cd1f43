/*
 * Every branch of the node, on the host: a test is a line of time in which messages
 * come and a text of what went out is compared. Prints what differs; exits 1 then.
 */
#include <stdio.h>
#include <string.h>

#include "leat_node.h"

static struct leat_node node;
static const struct leat_pump pumps[2] = {{10000u, 20000u}, {5000u, 20000u}};
static struct leat_inputs in;
static struct leat_record flash;
static bool memory_fails;
static char said[4096];
static int failures;

static void say(const char *text, size_t length) {
    size_t used = strlen(said);
    if (used + length + 2u < sizeof said) {
        memcpy(said + used, text, length);
        said[used + length] = '\n';
        said[used + length + 1u] = '\0';
    }
}

static void pump_port(void *self, size_t pump, bool on) {
    (void)self;
    if (on) {
        say(pump == 0u ? "acid on" : "feed on", 7u);
    } else {
        say(pump == 0u ? "acid off" : "feed off", 8u);
    }
}

static void outlet_port(void *self, const char *name, size_t length) {
    (void)self;
    in.outlet_open = length == 5u && memcmp(name, "north", 5u) == 0;
}

static void cut_port(void *self) {
    (void)self;
    say("cut", 3u);
}

static bool keep_port(void *self, const struct leat_record *record) {
    (void)self;
    if (!memory_fails) {
        flash = *record;
    }
    return !memory_fails;
}

static void report_port(void *self, size_t pump, const char *body, size_t length) {
    (void)self;
    (void)pump;
    say(body, length);
}

static void beat_port(void *self, const char *body, size_t length) {
    (void)self;
    say(body, length);
}

static size_t named_port(void *self, const char *name, size_t length) {
    (void)self;
    if (length == 4u && memcmp(name, "acid", 4u) == 0) {
        return 0u;
    }
    return length == 4u && memcmp(name, "feed", 4u) == 0 ? 1u : LEAT_MOST_PUMPS;
}

static const struct leat_ports ports = {NULL,      pump_port,   outlet_port, cut_port,
                                        keep_port, report_port, beat_port,   named_port};

/* What was said holds every one of the texts, which are separated by |; "" = nothing was said. */
static void expect(int line, const char *texts) {
    char one[256];
    bool holds = texts[0] != '\0' || said[0] == '\0';
    while (texts[0] != '\0') {
        size_t length = strcspn(texts, "|");
        memcpy(one, texts, length);
        one[length] = '\0';
        holds = holds && strstr(said, one) != NULL;
        texts += length + (texts[length] == '|' ? 1u : 0u);
    }
    if (!holds) {
        failures++;
        printf("line %d: want %s, said:\n%s", line, one, said);
    }
    said[0] = '\0';
}

#define EXPECT(texts) expect(__LINE__, texts)

static void at(uint64_t now) { leat_node_step(&node, now, &in); }

static void order(uint64_t now, const char *body) { leat_node_order(&node, now, 0u, false, body, strlen(body)); }

static void lease(uint64_t now, const char *body) { leat_node_lease(&node, now, false, body, strlen(body)); }

static void stop(uint64_t now, const char *body) { leat_node_stop(&node, now, body, strlen(body)); }

static void power(uint64_t now, const struct leat_record *kept) {
    memset(&in, 0, sizeof in);
    memory_fails = false;
    leat_node_start(&node, pumps, 2u, &ports, "abcd", kept, now);
    said[0] = '\0';
}

/* A node that has a lease of epoch 7 and nothing behind it. */
static void fresh(void) {
    power(0u, NULL);
    lease(10u, "{\"epoch\":7,\"beat\":1}");
}

/* An order with a field of its own. */
static const char *with(const char *id, const char *volume, const char *run, const char *boot, const char *before, const char *outlet) {
    static char body[512];
    (void)snprintf(body, sizeof body, "{\"order\":\"%s\",\"outlet\":\"%s\",\"volume_ml\":%s,\"run_ms\":%s,\"boot\":\"%s\",\"before_tick_ms\":%s,\"expires\":\"2030-01-01T00:00:00Z\"}", id, outlet, volume, run, boot, before);
    return body;
}

static const char *plain(const char *id) { return with(id, "2.5", "3000", "abcd", "99999999", "north"); }

static void runs_and_answers_a_repeat(void) {
    fresh();
    order(20u, plain("7-000001"));
    EXPECT("");
    order(25u, plain("7-000001")); /* while the outlet opens */
    EXPECT("");
    at(30u);
    EXPECT("acid on|\"7-000001\",\"phase\":\"accepted\"|\"phase\":\"running\"");
    order(1030u, plain("7-000001"));
    EXPECT("\"phase\":\"running\",\"run_ms\":1000,\"volume_ml\":0.834");
    at(2030u);
    EXPECT("\"idle\":false,\"epoch\":7,\"last\":{\"order\":\"7-000001\",\"phase\":\"running\"");
    at(3030u);
    EXPECT("acid off|\"phase\":\"done\",\"run_ms\":3000,\"volume_ml\":2.500");
    order(3040u, plain("7-000001"));
    EXPECT("\"phase\":\"done\",\"run_ms\":3000");
    leat_node_connected(&node, 3050u);
    EXPECT("\"phase\":\"done\"|\"idle\":true");
    order(3060u, plain("7-000002"));
    at(3070u);
    said[0] = '\0';
    leat_node_connected(&node, 3080u); /* in a run only the heartbeat */
    EXPECT("\"idle\":false");
}

static void refuses(void) {
    fresh();
    leat_node_order(&node, 20u, 0u, true, plain("7-000001"), strlen(plain("7-000001")));
    EXPECT("refused|kept by the broker");
    order(20u, with("7-000001", "2.5", "\"3000\"", "abcd", "99999999", "north"));
    EXPECT("refused|cannot be read");
    order(20u, plain("6-000001"));
    EXPECT("older epoch than one already seen");
    order(20u, plain("108-000001"));
    EXPECT("epoch too far ahead");
    order(20u, plain("8-000001"));
    EXPECT("no valid lease");
    order(20u, with("7-000001", "2.5", "3000", "abce", "99999999", "north"));
    EXPECT("another boot");
    order(20u, with("7-000001", "2.5", "3000", "abc", "99999999", "north"));
    EXPECT("another boot");
    order(20u, with("7-000001", "2.5", "3000", "abcd", "20", "north"));
    EXPECT("too late");
    order(20u, with("7-000001", "0.000", "3000", "abcd", "99999", "north"));
    EXPECT("nothing to do");
    order(20u, with("7-000001", "1", "0", "abcd", "99999", "north"));
    EXPECT("nothing to do");
    order(20u, with("7-000001", "1", "10001", "abcd", "99999", "north"));
    EXPECT("longer than this node allows");
    order(20u, with("7-000001", "20.0001", "1000", "abcd", "99999", "north"));
    EXPECT("hourly limit");
    leat_node_order(&node, 20u, 2u, false, plain("7-000001"), strlen(plain("7-000001")));
    EXPECT("");
    in.stop_pressed = true;
    at(30u);
    order(40u, plain("7-000001"));
    EXPECT("stop pressed");
    in.stop_pressed = false;
    in.float_lifted = true;
    at(50u);
    order(60u, plain("7-000001"));
    EXPECT("float switch lifted");
    in.float_lifted = false;
    at(70u);
    order(80u, plain("7-000005"));
    order(90u, plain("7-000006"));
    EXPECT("another order is running");
    at(100u);
    at(4000u);
    said[0] = '\0';
    order(4010u, plain("7-000004"));
    EXPECT("older than the last order");
    lease(4020u, "{\"epoch\":8,\"beat\":1}");
    order(4030u, plain("8-000001")); /* a new epoch begins at 1 */
    at(4040u);
    EXPECT("acid on|8-000001");
    at(10000u);
    order(14020u, plain("8-000002"));
    EXPECT("no valid lease");
}

static void an_older_epoch_than_the_last_order(void) {
    struct leat_record kept;
    memset(&kept, 0, sizeof kept);
    kept.epoch = 7u; /* as a record that was half restored says */
    kept.last.epoch = 9u;
    kept.last.number = 1u;
    kept.last.phase = LEAT_DONE;
    power(0u, &kept);
    lease(10u, "{\"epoch\":8,\"beat\":1}");
    order(20u, plain("8-000005"));
    EXPECT("older than the last order");
}

static void outlets(void) {
    fresh();
    order(20u, with("7-000001", "2.5", "3000", "abcd", "99999", "south"));
    at(30u);
    EXPECT("");
    order(40u, plain("7-000002"));
    EXPECT("another order is running");
    order(50u, plain("8-000001"));
    EXPECT("another order is running");
    at(5020u);
    EXPECT("acid off|7-000001\",\"phase\":\"refused\"|outlet unknown or not open");
    order(5030u, with("7-000001", "2.5", "3000", "abcd", "5500", "south"));
    at(5500u);
    EXPECT("too late");
    order(5600u, plain("7-000003"));
    stop(5610u, "{\"epoch\":7}");
    EXPECT("7-000003\",\"phase\":\"refused\"|stop order");
    memory_fails = true;
    order(5620u, plain("7-000003"));
    at(5630u);
    EXPECT("refused|cannot be remembered");
    at(5640u);
    EXPECT("");
}

static void leases(void) {
    power(0u, NULL);
    lease(10u, "{\"epoch\":2147483649,\"beat\":1}");
    leat_node_lease(&node, 10u, true, "{\"epoch\":7,\"beat\":1}", 20u);
    lease(10u, "{\"epoch\":0,\"beat\":1}");
    lease(10u, "{\"epoch\":4294967296,\"beat\":1}");
    lease(10u, "{\"epoch\":7}");
    memory_fails = true;
    lease(10u, "{\"epoch\":7,\"beat\":1}");
    memory_fails = false;
    order(20u, plain("7-000001"));
    EXPECT("no valid lease");
    lease(30u, "{\"epoch\":7,\"beat\":5}");
    lease(8000u, "{\"epoch\":7,\"beat\":5}"); /* a copy that somebody kept */
    lease(8000u, "{\"epoch\":6,\"beat\":9}");
    lease(8000u, "{\"epoch\":400,\"beat\":9}");
    order(9000u, plain("7-000001"));
    at(9010u);
    EXPECT("acid on");
    at(10030u);
    EXPECT("acid off|\"phase\":\"stopped\",\"run_ms\":1020|lease lapsed");
    lease(10100u, "{\"epoch\":107,\"beat\":1}");
    lease(10100u, "{\"epoch\":108,\"beat\":1}"); /* the room of these ten minutes is used */
    order(10110u, plain("108-000001"));
    EXPECT("epoch too far ahead");
    lease(700000u, "{\"epoch\":108,\"beat\":1}");
    order(700010u, plain("108-000001"));
    at(700020u);
    EXPECT("acid on");
}

static void stops(void) {
    fresh();
    stop(15u, "{\"epoch\":7}");
    EXPECT("");
    order(20u, plain("7-000001"));
    at(30u);
    said[0] = '\0';
    stop(100u, "{\"epoch\":7,\"pump\":\"feed\"}");
    EXPECT("");
    stop(130u, "{\"epoch\":7,\"pump\":\"acid\"}");
    EXPECT("acid off|\"phase\":\"stopped\",\"run_ms\":100,\"volume_ml\":0.084|stop order");
    order(200u, plain("7-000002"));
    at(210u);
    stop(300u, "{\"epoch\":7,\"pump\":\"acids\"}");
    EXPECT("7-000002\",\"phase\":\"stopped\"");
    order(400u, plain("7-000003"));
    at(410u);
    stop(500u, "{\"epoch\":7,\"pump\":3}");
    EXPECT("7-000003\",\"phase\":\"stopped\"");
    order(600u, plain("7-000004"));
    at(610u);
    stop(700u, "stop!");
    EXPECT("7-000004\",\"phase\":\"stopped\"");
    order(800u, plain("7-000005"));
    at(810u);
    in.stop_pressed = true;
    at(820u);
    EXPECT("acid off|7-000005\",\"phase\":\"stopped\"|stop pressed");
    in.stop_pressed = false;
    at(830u);
    EXPECT("");
}

static void supply(void) {
    fresh();
    leat_node_supply(&node, 20u);
    EXPECT("cut");
    in.supply_by_hand = true;
    at(30u);
    at(40u);
    order(50u, plain("7-000001"));
    at(60u);
    said[0] = '\0';
    in.supply_by_hand = false;
    leat_node_supply(&node, 100u);
    EXPECT("cut|acid off|stopped|dosing supply is cut");
    at(110u);
    order(120u, plain("7-000002"));
    EXPECT("dosing supply is cut");
    power(5000u, &flash); /* a loss of power closes nothing */
    lease(5010u, "{\"epoch\":7,\"beat\":1}");
    order(5020u, plain("7-000002"));
    EXPECT("dosing supply is cut");
}

static void power_lost(void) {
    power(0u, NULL);
    leat_node_connected(&node, 1u);
    EXPECT("{\"boot\":\"abcd\",\"tick_ms\":1,\"idle\":true}");
    fresh();
    order(20u, plain("7-000001"));
    at(30u);
    leat_node_start(&node, pumps, 2u, &ports, "efgh", &flash, 1000u);
    EXPECT("acid off|feed off");
    leat_node_connected(&node, 1010u);
    EXPECT("\"boot\":\"efgh\",\"tick_ms\":10,\"idle\":true,\"epoch\":7,\"last\":{\"order\":\"7-000001\",\"phase\":\"stopped\",\"run_ms\":3000,\"volume_ml\":2.500|power was lost");
}

static void hours(void) {
    fresh();
    order(20u, with("7-000001", "20", "1000", "abcd", "99999", "north"));
    at(30u);
    at(1030u);
    said[0] = '\0';
    lease(3000000u, "{\"epoch\":7,\"beat\":2}");
    order(3000010u, plain("7-000002"));
    EXPECT("hourly limit");
    leat_node_order(&node, 3000020u, 1u, false, plain("7-000002"), strlen(plain("7-000002")));
    at(3000030u);
    EXPECT("feed on");
    at(3005000u);
    lease(3900000u, "{\"epoch\":7,\"beat\":3}");
    order(3900010u, plain("7-000003"));
    at(3900020u);
    EXPECT("acid on");
    at(3950000u);
    lease(90000000u, "{\"epoch\":7,\"beat\":4}"); /* a day later nothing of it counts */
    order(90000010u, with("7-000004", "20", "1000", "abcd", "99999999", "north"));
    at(90000020u);
    EXPECT("acid on");
}

/* Bodies of which no id can be read are answered by nothing. */
static void unreadable(void) {
    static const char *const bodies[] = {
        "", " ", "[", "{", "{}", "{} ", "{}x", "{\"a\"", "{\"a\":", "{\"a\":}", "{\"a\":1", "{\"a\":1,", "{\"a\":1 ;", "{a:1}", "{\"a",
        "{\"a\\n\":1}", "{\"a\n\":1}", "{\"a\":\"x", "{\"a\":{}}", "{\"order\":7}", "{\"order\":\"\"}", "{\"order\":\"7\"}", "{\"order\":\"7x1\"}",
        "{\"order\":\"7-\"}", "{\"order\":\"7-000000\"}", "{\"order\":\"7-000001x\"}", "{\"order\":\"7-1\"}", "{\"order\":\"7-0000001\"}", "{\"order\":\"07-000001\"}", "{\"order\":\"0-000001\"}", "{\"order\":\"99999999999-000001\"}", "{\"order\":\"7-99999999999\"}",
        "{\"order\":\"7-000001\",\"order\":\"7-000002\"}", "{\"a\":1}", "{\"a\":1E5,\"b\":true}", "{\"a\":1e+5}", "{\"a\":~}", "{\"a\":/}", "{\"a\"\t:\r\n1,\"b\":2}", "{\"a\":|}", "{\"order\":\"-\"}", "{\"order\":\"/\"}",
    };
    static char large[LEAT_LONGEST_BODY + 2u];
    fresh();
    for (size_t i = 0; i < sizeof bodies / sizeof *bodies; i++) {
        order(20u, bodies[i]);
        EXPECT("");
        stop(20u, bodies[i]);
        lease(20u, bodies[i]);
    }
    memset(large, ' ', sizeof large - 1u);
    order(20u, large);
    EXPECT("");
}

/* Of these the id can be read, and something else cannot. */
static void half_readable(void) {
    static const char *const rest[] = {
        "", ",\"run_ms\":1x", ",\"run_ms\":01", ",\"run_ms\":-1", ",\"run_ms\":1", ",\"run_ms\":99999999999999999999", ",\"run_ms\":1,\"outlet\":\"\"",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\"", ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\"",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":\"1\"",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":.5",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":1e3",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":1.5e3",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":1.5-",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":9999999",
        ",\"run_ms\":1,\"outlet\":\"\",\"boot\":\"\",\"expires\":\"\",\"volume_ml\":1.5",
    };
    char body[256];
    fresh();
    for (size_t i = 0; i < sizeof rest / sizeof *rest; i++) {
        (void)snprintf(body, sizeof body, "{\"order\":\"7-000001\"%s}", rest[i]);
        order(20u, body);
        EXPECT("cannot be read");
    }
}

int main(void) {
    runs_and_answers_a_repeat();
    refuses();
    an_older_epoch_than_the_last_order();
    outlets();
    leases();
    stops();
    supply();
    power_lost();
    hours();
    unreadable();
    half_readable();
    if (failures == 0) {
        printf("all hold\n");
    }
    return failures > 0;
}
