#include "leat_words.h"

#include <string.h>

/* A value of a flat JSON object: where it stands, and whether in quotes. */
struct value {
    const char *at; /* NULL = absent */
    size_t length;
    bool text;
};

/* What is still to be read. */
struct rest {
    const char *at;
    const char *end;
};

static void skip(struct rest *r) {
    while (r->at < r->end && (*r->at == ' ' || *r->at == '\t' || *r->at == '\n' || *r->at == '\r')) {
        r->at++;
    }
}

/* Take one character past white space. */
static bool take(struct rest *r, char wanted) {
    skip(r);
    if (r->at == r->end || *r->at != wanted) {
        return false;
    }
    r->at++;
    return true;
}

/* A text in quotes. Names in topics need no escapes, so one with an escape is not read. */
static bool quoted(struct rest *r, struct value *v) {
    if (!take(r, '"')) {
        return false;
    }
    v->at = r->at;
    while (r->at < r->end && *r->at != '"') {
        if (*r->at == '\\' || (unsigned char)*r->at < 0x20u) {
            return false;
        }
        r->at++;
    }
    v->length = (size_t)(r->at - v->at);
    v->text = true;
    return take(r, '"');
}

static bool bare(char c) {
    return (c >= '0' && c <= '9') || (c >= 'a' && c <= 'z') || c == '.' || c == '-' || c == '+' || c == 'E';
}

static bool scalar(struct rest *r, struct value *v) {
    skip(r);
    if (r->at < r->end && *r->at == '"') {
        return quoted(r, v);
    }
    v->at = r->at;
    v->text = false;
    while (r->at < r->end && bare(*r->at)) {
        r->at++;
    }
    v->length = (size_t)(r->at - v->at);
    return v->length > 0u;
}

static bool is(const struct value *v, const char *text) {
    return v->length == strlen(text) && memcmp(v->at, text, v->length) == 0;
}

/* Read one member; keys that nobody asked for are passed over, one that comes twice is a fault. */
static bool member(struct rest *r, const char *const *keys, size_t count, struct value *found) {
    struct value key;
    struct value v;
    if (!quoted(r, &key) || !take(r, ':') || !scalar(r, &v)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (is(&key, keys[i])) {
            if (found[i].at != NULL) {
                return false;
            }
            found[i] = v;
        }
    }
    return true;
}

/* Read an object of scalars, whole. */
static bool object(const char *body, size_t length, const char *const *keys, size_t count, struct value *found) {
    struct rest r;
    r.at = body;
    r.end = body + length;
    memset(found, 0, count * sizeof *found);
    if (length > LEAT_LONGEST_BODY || !take(&r, '{')) {
        return false;
    }
    if (!take(&r, '}')) {
        do {
            if (!member(&r, keys, count, found)) {
                return false;
            }
        } while (take(&r, ','));
        if (!take(&r, '}')) {
            return false;
        }
    }
    skip(&r);
    return r.at == r.end;
}

/* Read digits, at most `most`, with no zero before others but within the first `width`. */
static bool digits(struct rest *r, uint64_t most, size_t width, uint64_t *number) {
    const char *from = r->at;
    uint64_t n = 0;
    while (r->at < r->end && *r->at >= '0' && *r->at <= '9') {
        uint64_t digit = (uint64_t)(*r->at - '0');
        if (n > (most - digit) / 10u) {
            return false;
        }
        n = n * 10u + digit;
        r->at++;
    }
    *number = n;
    return r->at >= from + width && (r->at == from + width || *from != '0');
}

static bool whole(const struct value *v, uint64_t most, uint64_t *number) {
    struct rest r;
    if (v->at == NULL || v->text) {
        return false;
    }
    r.at = v->at;
    r.end = v->at + v->length;
    return digits(&r, most, 1u, number) && r.at == r.end;
}

/* Millilitres as whole microlitres; what is smaller counts as one. */
static bool microlitres(const struct value *v, uint32_t *ul) {
    struct rest r;
    uint64_t n = 0;
    uint64_t scale = 1000u;
    if (v->at == NULL || v->text) {
        return false;
    }
    r.at = v->at;
    r.end = v->at + v->length;
    if (!digits(&r, 4000000u, 1u, &n)) {
        return false;
    }
    n *= 1000u;
    if (r.at < r.end && *r.at == '.') {
        for (r.at++; r.at < r.end && *r.at >= '0' && *r.at <= '9'; r.at++) {
            scale /= 10u;
            n += scale > 0u ? (uint64_t)(*r.at - '0') * scale : (uint64_t)(*r.at > '0');
        }
    }
    *ul = (uint32_t)n;
    return r.at == r.end;
}

/* An order's id, such as 7-000123; neither part is zero. */
static bool order_id(const struct value *v, struct leat_order *order) {
    struct rest r;
    uint64_t epoch = 0;
    uint64_t number = 0;
    if (v->at == NULL || !v->text) {
        return false;
    }
    r.at = v->at;
    r.end = v->at + v->length;
    if (!digits(&r, UINT32_MAX, 1u, &epoch) || r.at == r.end || *r.at != '-') {
        return false;
    }
    r.at++;
    if (!digits(&r, UINT32_MAX, 6u, &number) || r.at != r.end || number == 0u) {
        return false;
    }
    order->epoch = (uint32_t)epoch;
    order->number = (uint32_t)number;
    return true;
}

bool leat_read_order(const char *body, size_t length, struct leat_order *order) {
    enum { ID, OUTLET, VOLUME, RUN, BOOT, BEFORE, EXPIRES, FIELDS };
    static const char *const keys[FIELDS] = {"order", "outlet", "volume_ml", "run_ms", "boot", "before_tick_ms", "expires"};
    struct value found[FIELDS];
    uint64_t run = 0;
    memset(order, 0, sizeof *order);
    if (!object(body, length, keys, FIELDS, found) || !order_id(&found[ID], order)) {
        return false;
    }
    if (found[RUN].at == NULL && !RULE(LEAT_RULE_COMPLETE)) {
        run = LEAT_BEAT_MS; /* what a careless program would make of it */
    } else if (!whole(&found[RUN], LEAT_LONGEST_RUN_MS, &run)) {
        return false;
    }
    order->run_ms = (uint32_t)run;
    order->boot = found[BOOT].at;
    order->boot_length = found[BOOT].length;
    order->outlet = found[OUTLET].at;
    order->outlet_length = found[OUTLET].length;
    return found[OUTLET].text && found[BOOT].text && found[EXPIRES].text && microlitres(&found[VOLUME], &order->volume_ul) &&
           whole(&found[BEFORE], UINT64_MAX, &order->before_ms);
}

bool leat_read_lease(const char *body, size_t length, uint32_t *epoch, uint64_t *beat) {
    static const char *const keys[] = {"epoch", "beat"};
    struct value found[2];
    uint64_t n = 0;
    if (!object(body, length, keys, 2u, found) || !whole(&found[0], UINT32_MAX, &n) || n == 0u ||
        !whole(&found[1], UINT64_MAX, beat)) {
        return false;
    }
    *epoch = (uint32_t)n;
    return true;
}

bool leat_read_stop(const char *body, size_t length, const char **name, size_t *name_length) {
    static const char *const keys[] = {"epoch", "pump"};
    struct value found[2];
    if (!object(body, length, keys, 2u, found) || (found[1].at != NULL && !found[1].text)) {
        return false;
    }
    *name = found[1].at;
    *name_length = found[1].length;
    return true;
}

static char *put(char *at, const char *text) {
    size_t length = strlen(text);
    memcpy(at, text, length);
    return at + length;
}

/* At least `width` digits. */
static char *put_number(char *at, uint64_t number, size_t width) {
    char reversed[20];
    size_t n = 0;
    do {
        reversed[n++] = (char)('0' + (char)(number % 10u));
        number /= 10u;
    } while (number > 0u || n < width);
    while (n > 0u) {
        *at++ = reversed[--n];
    }
    return at;
}

static char *put_word(char *at, const struct leat_word *word) {
    static const char *const phases[] = {"", "accepted", "running", "done", "stopped", "refused"};
    static const char *const causes[] = {
        "",
        "kept by the broker",
        "order lacks a field or cannot be read",
        "older epoch than one already seen",
        "epoch too far ahead",
        "older than the last order",
        "meant for another boot",
        "too late",
        "another order is running",
        "no valid lease",
        "dosing supply is cut",
        "stop pressed",
        "float switch lifted",
        "nothing to do",
        "longer than this node allows",
        "hourly limit of this node",
        "outlet unknown or not open",
        "order cannot be remembered",
        "stop order",
        "lease lapsed",
        "power was lost",
    };
    at = put(at, "{\"order\":\"");
    at = put_number(at, word->epoch, 1u);
    at = put(at, "-");
    at = put_number(at, word->number, 6u);
    at = put(at, "\",\"phase\":\"");
    at = put(at, phases[word->phase]);
    at = put(at, "\",\"run_ms\":");
    at = put_number(at, word->run_ms, 1u);
    at = put(at, ",\"volume_ml\":");
    at = put_number(at, word->volume_ul / 1000u, 1u);
    at = put(at, ".");
    at = put_number(at, word->volume_ul % 1000u, 3u);
    at = put(at, ",\"cause\":\"");
    at = put(at, causes[word->cause]);
    return put(at, "\"}");
}

size_t leat_write_report(char *into, const struct leat_word *word) {
    return (size_t)(put_word(into, word) - into);
}

size_t leat_write_beat(char *into, const char *boot, uint64_t tick_ms, bool idle, const struct leat_record *record) {
    char *at = put(into, "{\"boot\":\"");
    at = put(at, boot);
    at = put(at, "\",\"tick_ms\":");
    at = put_number(at, tick_ms, 1u);
    at = put(at, ",\"idle\":");
    at = put(at, idle ? "true" : "false");
    if (record->epoch > 0u) {
        at = put(at, ",\"epoch\":");
        at = put_number(at, record->epoch, 1u);
    }
    if (record->last.epoch > 0u) {
        at = put(at, ",\"last\":");
        at = put_word(at, &record->last);
    }
    at = put(at, "}");
    return (size_t)(at - into);
}
