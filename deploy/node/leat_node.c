#include "leat_node.h"

#include <string.h>

#include "leat_words.h"

static void report(struct leat_node *n, const struct leat_word *word) {
    char body[LEAT_WORD_BYTES];
    size_t length = leat_write_report(body, word);
    n->ports->report(n->ports->self, word->pump, body, length);
}

static void beat(struct leat_node *n) {
    char body[LEAT_WORD_BYTES];
    size_t length = leat_write_beat(body, n->boot, n->now - n->born, n->state == LEAT_IDLE, &n->record);
    n->ports->beat(n->ports->self, body, length);
    n->beat_at = n->now;
}

static bool keep(struct leat_node *n) {
    if (!RULE(LEAT_RULE_MEMORY)) {
        return true;
    }
    return n->ports->keep(n->ports->self, &n->record);
}

static struct leat_word word_of(const struct leat_order *order, enum leat_phase phase, enum leat_cause cause) {
    struct leat_word w;
    memset(&w, 0, sizeof w);
    w.epoch = order->epoch;
    w.number = order->number;
    w.pump = (uint32_t)order->pump;
    w.phase = phase;
    w.cause = cause;
    return w;
}

static void refuse(struct leat_node *n, const struct leat_order *order, enum leat_cause cause) {
    struct leat_word w = word_of(order, LEAT_REFUSED, cause);
    report(n, &w);
}

/* What the running pump has given so far: by run time, rounded up. A step that came
 * late counts as well, so that a report never says less than was given. */
static struct leat_word given(const struct leat_node *n, enum leat_phase phase, enum leat_cause cause) {
    struct leat_word w = word_of(&n->order, phase, cause);
    uint64_t ran = n->now - n->since;
    w.run_ms = (uint32_t)ran;
    w.volume_ul = (uint32_t)((n->order.volume_ul * ran + n->order.run_ms - 1u) / n->order.run_ms);
    return w;
}

/* The hour is kept in slots; the oldest is forgotten when a new one begins. */
static void turn_slots(struct leat_node *n) {
    uint64_t slot = (n->now - n->born) / LEAT_SLOT_MS;
    for (size_t steps = 0; n->slot < slot && steps < LEAT_SLOTS; steps++) {
        n->slot++;
        for (size_t p = 0; p < n->count; p++) {
            n->spent_ul[p][n->slot % LEAT_SLOTS] = 0;
        }
    }
    n->slot = slot;
}

static uint64_t spent(const struct leat_node *n, size_t pump) {
    uint64_t sum = 0;
    for (size_t i = 0; i < LEAT_SLOTS; i++) {
        sum += n->spent_ul[pump][i];
    }
    return sum;
}

/* End the order under way; off comes first. */
static void end(struct leat_node *n, enum leat_phase phase, enum leat_cause cause) {
    n->ports->pump(n->ports->self, n->order.pump, false);
    n->ports->outlet(n->ports->self, NULL, 0u);
    if (n->state == LEAT_PUMPING) {
        n->record.last = given(n, phase, cause);
        n->spent_ul[n->order.pump][n->slot % LEAT_SLOTS] += n->record.last.volume_ul;
        n->state = LEAT_IDLE;
        (void)keep(n); /* what was kept at the start shuts out a repeat in any case */
        report(n, &n->record.last);
    } else {
        n->state = LEAT_IDLE;
        refuse(n, &n->order, cause);
    }
}

/* The outlet is open: remember, then run. */
static void begin(struct leat_node *n) {
    struct leat_word before = n->record.last;
    /* After a loss of power nobody knows how much was given: all of it is remembered. */
    n->record.last = word_of(&n->order, LEAT_RUNNING, LEAT_NO_CAUSE);
    n->record.last.run_ms = n->order.run_ms;
    n->record.last.volume_ul = n->order.volume_ul;
    if (!keep(n)) {
        n->record.last = before;
        end(n, LEAT_REFUSED, LEAT_CAUSE_MEMORY);
        return;
    }
    n->record.last.run_ms = 0;
    n->record.last.volume_ul = 0;
    n->state = LEAT_PUMPING;
    n->since = n->now;
    n->ports->pump(n->ports->self, n->order.pump, true);
    struct leat_word accepted = word_of(&n->order, LEAT_ACCEPTED, LEAT_NO_CAUSE);
    report(n, &accepted);
    report(n, &n->record.last);
}

/* No restart of the daemon explains an epoch so far above the highest seen. */
static bool too_far(struct leat_node *n, uint32_t epoch) {
    if (!RULE(LEAT_RULE_AHEAD)) {
        return false;
    }
    if (n->record.epoch == 0u) {
        return epoch > LEAT_FIRST_EPOCH;
    }
    if (n->now - n->room_at >= LEAT_EPOCH_WINDOW_MS) {
        n->room_from = n->record.epoch;
        n->room_at = n->now;
    }
    return epoch > n->room_from && epoch - n->room_from > LEAT_EPOCH_ROOM;
}

static bool lease_holds(const struct leat_node *n) {
    return n->leased && n->now - n->lease_at < LEAT_LEASE_MS;
}

/* What stands against every order, whatever it says. */
static enum leat_cause barred(const struct leat_node *n) {
    if (RULE(LEAT_RULE_SUPPLY) && n->record.supply_cut) {
        return LEAT_CAUSE_SUPPLY;
    }
    if (RULE(LEAT_RULE_STOP_INPUT) && n->in.stop_pressed) {
        return LEAT_CAUSE_STOP_INPUT;
    }
    if (RULE(LEAT_RULE_FLOAT) && n->in.float_lifted) {
        return LEAT_CAUSE_FLOAT;
    }
    return LEAT_NO_CAUSE;
}

/* Whether an order's id is above the last one that was ever taken. */
static bool is_newer(const struct leat_node *n, const struct leat_order *o) {
    const struct leat_word *last = &n->record.last;
    if (!RULE(LEAT_RULE_OLD) || o->epoch > last->epoch) {
        return true;
    }
    if (o->epoch < last->epoch) {
        return false;
    }
    return o->number > last->number || (!RULE(LEAT_RULE_REPEAT) && o->number == last->number);
}

/* Why an order's own limits forbid it. */
static enum leat_cause beyond(const struct leat_node *n, const struct leat_order *o) {
    const struct leat_pump *own = &n->pumps[o->pump];
    if (o->run_ms == 0u || o->volume_ul == 0u) {
        return LEAT_CAUSE_NOTHING;
    }
    if (RULE(LEAT_RULE_LENGTH) && o->run_ms > own->longest_run_ms) {
        return LEAT_CAUSE_LENGTH;
    }
    if (RULE(LEAT_RULE_HOURLY) && spent(n, o->pump) + o->volume_ul > own->hourly_ul) {
        return LEAT_CAUSE_HOURLY;
    }
    return LEAT_NO_CAUSE;
}

/* Why an order is not for this moment. */
static enum leat_cause misplaced(const struct leat_node *n, const struct leat_order *o) {
    if (RULE(LEAT_RULE_BOOT) && (o->boot_length != strlen(n->boot) || memcmp(o->boot, n->boot, o->boot_length) != 0)) {
        return LEAT_CAUSE_BOOT;
    }
    if (RULE(LEAT_RULE_LATE) && n->now - n->born >= o->before_ms) {
        return LEAT_CAUSE_LATE;
    }
    if (RULE(LEAT_RULE_BUSY) && n->state != LEAT_IDLE) {
        return LEAT_CAUSE_BUSY;
    }
    if (RULE(LEAT_RULE_LEASE) && (!lease_holds(n) || (RULE(LEAT_RULE_EPOCH) && n->lease_epoch != o->epoch))) {
        return LEAT_CAUSE_LEASE;
    }
    return LEAT_NO_CAUSE;
}

/* The whole judgement of an order. */
static enum leat_cause judge(struct leat_node *n, const struct leat_order *o, bool retained, bool readable) {
    enum leat_cause cause;
    if (RULE(LEAT_RULE_RETAINED) && retained) {
        return LEAT_CAUSE_RETAINED;
    }
    if (!readable) {
        return LEAT_CAUSE_UNREADABLE;
    }
    if (RULE(LEAT_RULE_EPOCH) && o->epoch < n->record.epoch) {
        return LEAT_CAUSE_EPOCH;
    }
    if (too_far(n, o->epoch)) {
        return LEAT_CAUSE_AHEAD;
    }
    if (!is_newer(n, o)) {
        return LEAT_CAUSE_OLD;
    }
    cause = misplaced(n, o);
    if (cause == LEAT_NO_CAUSE) {
        cause = barred(n);
    }
    if (cause == LEAT_NO_CAUSE) {
        cause = beyond(n, o);
    }
    return cause;
}

/* An order that is known already is answered and never run again. */
static bool repeated(struct leat_node *n, const struct leat_order *o) {
    if (!RULE(LEAT_RULE_REPEAT)) {
        return false;
    }
    if (n->state == LEAT_OPENING && o->epoch == n->order.epoch && o->number == n->order.number) {
        return true;
    }
    if (o->epoch != n->record.last.epoch || o->number != n->record.last.number) {
        return false;
    }
    if (n->state == LEAT_PUMPING) {
        struct leat_word w = given(n, LEAT_RUNNING, LEAT_NO_CAUSE);
        report(n, &w);
    } else {
        report(n, &n->record.last);
    }
    return true;
}

void leat_node_order(struct leat_node *n, uint64_t now_ms, size_t pump, bool retained, const char *body, size_t length) {
    struct leat_order order;
    bool readable = leat_read_order(body, length, &order);
    enum leat_cause cause;
    n->now = now_ms;
    turn_slots(n);
    if (order.epoch == 0u || pump >= n->count) {
        return;
    }
    order.pump = pump;
    if (repeated(n, &order)) {
        return;
    }
    cause = judge(n, &order, retained, readable);
    if (cause != LEAT_NO_CAUSE) {
        refuse(n, &order, cause);
        return;
    }
    n->order = order;
    n->state = LEAT_OPENING;
    n->since = n->now;
    n->ports->outlet(n->ports->self, order.outlet, order.outlet_length);
    n->order.boot = NULL; /* the body is the caller's */
    n->order.outlet = NULL;
    if (!RULE(LEAT_RULE_OUTLET)) {
        begin(n);
    }
}

void leat_node_lease(struct leat_node *n, uint64_t now_ms, bool retained, const char *body, size_t length) {
    uint32_t epoch = 0;
    uint64_t count = 0;
    n->now = now_ms;
    if (retained || !leat_read_lease(body, length, &epoch, &count)) {
        return;
    }
    /* A beat that does not rise is a copy that somebody kept. */
    if (epoch < n->record.epoch || (n->leased && epoch == n->lease_epoch && count <= n->lease_beat) || too_far(n, epoch)) {
        return;
    }
    if (epoch > n->record.epoch) {
        uint32_t before = n->record.epoch;
        n->record.epoch = epoch;
        if (!keep(n)) {
            n->record.epoch = before;
            return;
        }
        if (before == 0u) {
            n->room_from = epoch;
            n->room_at = n->now;
        }
    }
    n->leased = true;
    n->lease_epoch = epoch;
    n->lease_beat = count;
    n->lease_at = n->now;
}

void leat_node_stop(struct leat_node *n, uint64_t now_ms, const char *body, size_t length) {
    const char *name = NULL;
    size_t name_length = 0;
    bool readable = leat_read_stop(body, length, &name, &name_length);
    size_t pump = LEAT_MOST_PUMPS;
    n->now = now_ms;
    if (!readable && !RULE(LEAT_RULE_UNREAD)) {
        return;
    }
    if (readable && !RULE(LEAT_RULE_STOP)) {
        return;
    }
    /* A name of nobody here may be a name that was mistyped: it stops all. */
    if (name_length > 0u) {
        pump = n->ports->named(n->ports->self, name, name_length);
    }
    if (n->state != LEAT_IDLE && (pump >= n->count || pump == n->order.pump)) {
        end(n, LEAT_STOPPED, LEAT_CAUSE_STOP);
    }
}

void leat_node_supply(struct leat_node *n, uint64_t now_ms) {
    n->now = now_ms;
    n->ports->cut(n->ports->self);
    n->record.supply_cut = true;
    (void)keep(n); /* the contactor is open already */
    if (n->state != LEAT_IDLE) {
        end(n, LEAT_STOPPED, LEAT_CAUSE_SUPPLY);
    }
}

/* End or begin what is due. */
static void advance(struct leat_node *n) {
    enum leat_cause cause = barred(n);
    if (cause != LEAT_NO_CAUSE) {
        end(n, LEAT_STOPPED, cause);
    } else if (RULE(LEAT_RULE_LAPSE) && (RULE(LEAT_RULE_LEASE) || n->state == LEAT_PUMPING) && !lease_holds(n)) {
        end(n, LEAT_STOPPED, LEAT_CAUSE_LAPSE);
    } else if (n->state == LEAT_PUMPING) {
        if (RULE(LEAT_RULE_END) && n->now - n->since >= n->order.run_ms) {
            end(n, LEAT_DONE, LEAT_NO_CAUSE);
        }
    } else if (RULE(LEAT_RULE_LATE) && n->now - n->born >= n->order.before_ms) {
        end(n, LEAT_REFUSED, LEAT_CAUSE_LATE);
    } else if (n->in.outlet_open) {
        begin(n);
    } else if (n->now - n->since >= LEAT_OUTLET_MS) {
        end(n, LEAT_REFUSED, LEAT_CAUSE_OUTLET);
    }
}

void leat_node_step(struct leat_node *n, uint64_t now_ms, const struct leat_inputs *in) {
    n->now = now_ms;
    n->in = *in;
    turn_slots(n);
    if (n->record.supply_cut && in->supply_by_hand) {
        n->record.supply_cut = false;
        (void)keep(n); /* if it is lost, the supply counts as cut once more: press again */
    }
    if (n->state != LEAT_IDLE) {
        advance(n);
    }
    if (n->now - n->beat_at >= (RULE(LEAT_RULE_BEAT) ? LEAT_BEAT_MS : 3u * LEAT_BEAT_MS)) {
        beat(n);
    }
}

void leat_node_connected(struct leat_node *n, uint64_t now_ms) {
    n->now = now_ms;
    if (n->record.last.epoch > 0u && n->state == LEAT_IDLE) {
        report(n, &n->record.last);
    }
    beat(n);
}

void leat_node_start(struct leat_node *n, const struct leat_pump *pumps, size_t count,
                     const struct leat_ports *ports, const char *boot,
                     const struct leat_record *kept, uint64_t now_ms) {
    memset(n, 0, sizeof *n);
    n->pumps = pumps;
    n->count = count;
    n->ports = ports;
    n->boot = boot;
    n->born = now_ms;
    n->now = now_ms;
    n->beat_at = now_ms;
    n->room_at = now_ms;
    for (size_t p = 0; p < count; p++) {
        ports->pump(ports->self, p, false);
    }
    ports->outlet(ports->self, NULL, 0u);
    if (kept != NULL) {
        n->record = *kept;
        n->room_from = kept->epoch;
    }
    if (n->record.last.phase == LEAT_RUNNING) {
        if (!RULE(LEAT_RULE_OFF)) {
            ports->pump(ports->self, n->record.last.pump, true);
            report(n, &n->record.last);
            return;
        }
        /* It counts in full: how much of it was given is not known. */
        n->record.last.phase = LEAT_STOPPED;
        n->record.last.cause = LEAT_CAUSE_POWER;
    }
}
