/* A second water for `leat rehearse -plant`, written apart from controller/sim: other equations, other language.
 *
 *   cc -O2 -std=c99 -o water testdata/plant/water.c -lm
 *   leat rehearse -set standard -faults none -plant './water' -nights 40
 *   leat rehearse -set standard -faults none -plant './water -fault held' -nights 40
 *
 * Water in three stirred parts: the inlet, in which doses and returning floods first mix; the main part, where the probes are;
 * and ponds, which exchange their water with the main part slowly. Each part holds a strong-ion difference, phosphate, inorganic
 * carbon and salt, and its pH is what balances the charges. CO2 passes to the room from each part at its own rate. Plants take
 * up salt and give off base. Top-up brings alkalinity and salt in steps of 2 %. A fault is drawn in time; from then on a twin of
 * the water goes on without doses, so that the harm done by doses can be told from what happens anyway.
 *
 * Constants at 25 C and an ionic strength of about 0.02 mol/kg, from memory and to be confirmed only where a figure hangs on
 * them: pK1' of carbonic acid 6.25, pK2' 10.1, pK2' of phosphoric acid 6.95, pK1' 2.05, pKw' 13.9. CO2 in balance with
 * outdoor air: 0.0136 mmol/L (Henry's constant 0.034 mol/L/atm).
 */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

enum { PARTS = 3, INLET = 0, MAIN = 1, PONDS = 2, PUMPS = 16, PIPE = 4096 };

typedef struct {
	double litres, sid, p, dic, salt; /* L; amounts in meq, mmol, mmol and mS/cm times L */
} part;

typedef struct {
	double at, sid, salt;
} pulse;

typedef struct {
	part parts[PARTS];
	pulse pipe[PIPE];
	int pulses;
	double lacks; /* L that evaporated and were not yet replaced */
	int filling;
} water;

typedef struct {
	char name[64], role[16];
	double acid, ec; /* meq/mL and mS/cm per mL in 1 L */
} pump;

static struct {
	double flux, uptake, evaporation; /* meq/L/h, mS/cm/h, share/h */
	double exchange, pond_exchange;   /* of CO2, 1/h */
	double dead, lag;                 /* s */
	double apart;                     /* h in which the ponds' water is exchanged once; 0 = no ponds */
	double alkalinity, source_ec;     /* of the top-up */
	double litres;
	double fault_at; /* h */
	const char *fault;
} world;

static pump pumps[PUMPS];
static int pump_count;
static water real, twin;
static int twinned;
static double now; /* s */
static double held_ph, held_ec;
static uint64_t random_state;

static double uniform(double low, double high) {
	uint64_t z = (random_state += 0x9E3779B97F4A7C15u);
	z = (z ^ (z >> 30)) * 0xBF58476D1CE4E5B9u;
	z = (z ^ (z >> 27)) * 0x94D049BB133111EBu;
	return low + (double)((z ^ (z >> 31)) >> 11) / 9007199254740992.0 * (high - low);
}

static double log_uniform(double low, double high) { return low * pow(high / low, uniform(0, 1)); }

/* Charge that is left over at a pH, meq/L; it falls as pH rises. */
static double charge(double ph, double sid, double p, double dic) {
	double h = pow(10, -ph), k1 = pow(10, -6.25), k2 = pow(10, -10.1), p1 = pow(10, -2.05), p2 = pow(10, -6.95);
	double hco3 = dic / (1 + h / k1 + k2 / h), h2po4 = p / (1 + h / p1 + p2 / h);
	return sid + 1e3 * h - 1e3 * pow(10, ph - 13.9) - hco3 * (1 + 2 * k2 / h) - h2po4 * (1 + 2 * p2 / h);
}

static double ph_of(const part *w) {
	double low = 1, high = 13, n = w->litres > 1e-9 ? w->litres : 1e-9;
	for (int i = 0; i < 40; i++) {
		double middle = (low + high) / 2;
		if (charge(middle, w->sid / n, w->p / n, w->dic / n) > 0)
			low = middle;
		else
			high = middle;
	}
	return (low + high) / 2;
}

static double ec_of(const part *w) { return w->litres > 1e-9 ? w->salt / w->litres : 0; }

/* Strong-ion difference that gives this pH, meq/L. */
static double sid_for(double ph, double p, double dic) { return -charge(ph, 0, p, dic); }

/* Buffer capacity, meq/L per pH. */
static double buffer(double ph, double p, double dic) {
	return (sid_for(ph + 0.05, p, dic) - sid_for(ph - 0.05, p, dic)) / 0.1;
}

static void pour(part *to, part *from, double share) {
	part moved = {from->litres * share, from->sid * share, from->p * share, from->dic * share, from->salt * share};
	from->litres -= moved.litres, from->sid -= moved.sid, from->p -= moved.p, from->dic -= moved.dic, from->salt -= moved.salt;
	to->litres += moved.litres, to->sid += moved.sid, to->p += moved.p, to->dic += moved.dic, to->salt += moved.salt;
}

static void swap_water(part *a, part *b, double litres) {
	double sa = fmin(litres / a->litres, 0.5), sb = fmin(litres / b->litres, 0.5);
	part ab = {a->litres * sa, a->sid * sa, a->p * sa, a->dic * sa, a->salt * sa};
	part ba = {b->litres * sb, b->sid * sb, b->p * sb, b->dic * sb, b->salt * sb};
	a->litres += ba.litres - ab.litres, b->litres += ab.litres - ba.litres;
	a->sid += ba.sid - ab.sid, b->sid += ab.sid - ba.sid;
	a->p += ba.p - ab.p, b->p += ab.p - ba.p;
	a->dic += ba.dic - ab.dic, b->dic += ab.dic - ba.dic;
	a->salt += ba.salt - ab.salt, b->salt += ab.salt - ba.salt;
}

static int faulty(const char *name) {
	return world.fault && now >= world.fault_at * 3600 && strcmp(world.fault, name) == 0;
}

static void breathe(part *w, double rate, double hours) {
	double free_co2 = w->dic / w->litres / (1 + pow(10, ph_of(w) - 6.25));
	w->dic += (0.0136 - free_co2) * (1 - exp(-rate * hours)) * w->litres;
	if (w->dic < 1e-6 * w->litres)
		w->dic = 1e-6 * w->litres;
}

static void top_up(water *w, double hours) {
	double lost = world.evaporation * world.litres * hours;
	w->parts[MAIN].litres -= lost;
	w->lacks += lost;
	if (w->lacks > 0.02 * world.litres)
		w->filling = 1;
	if (w->filling) {
		double litres = fmin(w->lacks, 0.04 * world.litres * hours * 60);
		part *in = &w->parts[INLET];
		in->litres += litres, in->sid += litres * world.alkalinity, in->dic += litres * 1.1 * world.alkalinity;
		in->salt += litres * world.source_ec;
		w->lacks -= litres;
		if (w->lacks <= 0)
			w->filling = 0;
	}
}

/* One second of one water. */
static void second(water *w) {
	double hours = 1.0 / 3600, lag = world.lag, dead = world.dead;
	if (faulty("half"))
		lag *= 3, dead *= 3;
	while (w->pulses > 0 && now - w->pipe[0].at >= dead) {
		w->parts[INLET].sid += w->pipe[0].sid, w->parts[INLET].salt += w->pipe[0].salt;
		memmove(w->pipe, w->pipe + 1, (size_t)--w->pulses * sizeof(pulse));
	}
	/* The inlet is small; what enters it leaves with the lag, and its volume is held by what comes back. */
	part *in = &w->parts[INLET], *out = &w->parts[MAIN], *ponds = &w->parts[PONDS];
	double hold = 0.02 * world.litres;
	if (in->litres > hold)
		pour(out, in, (in->litres - hold) / in->litres);
	swap_water(in, out, in->litres * (1 - exp(-1 / lag)));
	if (world.apart > 0)
		swap_water(ponds, out, ponds->litres * hours / world.apart);
	top_up(w, hours);
}

/* Five seconds of air and plants in one water. */
static void live(water *w, double seconds) {
	double hours = seconds / 3600;
	for (int i = MAIN; i < PARTS; i++) {
		part *x = &w->parts[i];
		if (x->litres < 1e-6)
			continue;
		x->sid += world.flux * x->litres * hours;
		x->salt -= fmin(world.uptake * x->litres * hours, 0.5 * x->salt);
		breathe(x, i == PONDS ? world.pond_exchange : world.exchange, hours);
	}
}

static void dose(const char *name, double ml) {
	for (int i = 0; i < pump_count; i++) {
		if (strcmp(pumps[i].name, name) != 0)
			continue;
		double acid = pumps[i].acid * ml, salt = pumps[i].ec * ml;
		int reagent = strcmp(pumps[i].role, "stock") != 0;
		if (reagent && faulty("swapped"))
			acid = -acid;
		if (acid > 0 && reagent && faulty("undiluted"))
			acid *= 6, salt *= 6;
		if (acid > 0 && reagent && faulty("dead"))
			acid = salt = 0;
		if (real.pulses < PIPE)
			real.pipe[real.pulses++] = (pulse){now, -acid, salt};
	}
}

static double number(const char *line, const char *key, double otherwise) {
	char quoted[80];
	snprintf(quoted, sizeof quoted, "\"%s\":", key);
	const char *found = strstr(line, quoted);
	return found ? strtod(found + strlen(quoted), NULL) : otherwise;
}

static const char *text(const char *line, const char *key, char *into, size_t size) {
	char quoted[80];
	snprintf(quoted, sizeof quoted, "\"%s\":\"", key);
	const char *found = strstr(line, quoted);
	size_t n = 0;
	if (!found)
		return NULL;
	for (found += strlen(quoted); *found && *found != '"' && n + 1 < size; found++)
		into[n++] = *found;
	into[n] = 0;
	return found;
}

static void begin(const char *line, double measured, double slow, double apart) {
	random_state = (uint64_t)number(line, "seed", 1) * 2654435761u + 77;
	world.litres = number(line, "litres", 100);
	world.dead = number(line, "dead_time_s", 60), world.lag = number(line, "lag_s", 90);
	world.alkalinity = number(line, "top_up_alkalinity_meq_per_l", 1), world.source_ec = number(line, "top_up_ec_ms_per_cm", 0.1);
	world.flux = uniform(-0.03, 0.1), world.uptake = uniform(0, 0.03), world.evaporation = log_uniform(0.001, 0.02);
	world.exchange = uniform(0.05, 1), world.pond_exchange = uniform(0.2, 3);
	world.fault_at = uniform(1, 6);
	double ph = number(line, "ph", 6), ec = number(line, "ec", 1), told = number(line, "buffer_meq_per_l_ph", 0.5);
	double wrong = measured ? uniform(0.85, 1.15) : log_uniform(1.0 / 3, 3);
	double dic = uniform(0, 2) / (1 + pow(10, ph - 6.25)) + 0.02;
	/* As much phosphate as makes the true buffer the told one times wrong, the carbonate counted; and never so little that
	   less than a third of the told one is left when the carbonate has gone as CO2. */
	double at = number(line, "ph_setpoint", 5.8);
	double rest = fmax(told * wrong - buffer(at, 0, dic), told / 3);
	double p = rest / buffer(at, 1, 0);
	double ponds = number(line, "pond_share", slow);
	world.apart = ponds > 0 ? number(line, "pond_exchange_h", apart) : 0;
	double shares[PARTS] = {0.02, 0.98 - 0.98 * ponds, 0.98 * ponds};
	memset(&real, 0, sizeof real);
	for (int i = 0; i < PARTS; i++) {
		double litres = shares[i] * world.litres;
		real.parts[i] = (part){litres, litres * sid_for(ph, p, dic), litres * p, litres * dic, litres * ec};
	}
	pump_count = 0;
	const char *rest_of = strstr(line, "\"pumps\":");
	while (rest_of && pump_count < PUMPS && (rest_of = strstr(rest_of, "{\"name\":"))) {
		pump *q = &pumps[pump_count++];
		text(rest_of, "name", q->name, sizeof q->name);
		text(rest_of, "role", q->role, sizeof q->role);
		q->acid = number(rest_of, "acid_meq_per_ml", 0), q->ec = number(rest_of, "ec_ms_per_cm_per_ml_l", 0);
		rest_of++;
	}
}

static void step(const char *line) {
	double seconds = number(line, "seconds", 5);
	const char *ml = strstr(line, "\"ml\":{");
	for (ml = ml ? ml + 6 : NULL; ml && (ml = strchr(ml, '"'));) {
		char name[64];
		size_t n = 0;
		for (ml++; *ml && *ml != '"' && n + 1 < sizeof name; ml++)
			name[n++] = *ml;
		name[n] = 0;
		if (*ml != '"' || ml[1] != ':')
			break;
		dose(name, strtod(ml + 2, NULL));
		ml++;
	}
	for (int i = 0; i < (int)seconds; i++) {
		now += 1;
		if (world.fault && !twinned && now >= world.fault_at * 3600) {
			twin = real, twinned = 1;
			held_ph = ph_of(&real.parts[MAIN]), held_ec = ec_of(&real.parts[MAIN]);
		}
		second(&real);
		if (twinned)
			second(&twin);
	}
	live(&real, seconds);
	if (twinned)
		live(&twin, seconds);
}

static void say(void) {
	part *w = &real.parts[MAIN];
	double litres = real.parts[INLET].litres + w->litres + real.parts[PONDS].litres, ph = ph_of(w), ec = ec_of(w);
	printf("{\"ph\":%.6f,\"ec\":%.6f,\"celsius\":22,\"litres\":%.3f,\"top_up\":%s", ph, ec, litres, real.filling ? "true" : "false");
	if (faulty("held"))
		printf(",\"seen\":{\"ph\":%.6f,\"ec\":%.6f}", held_ph, held_ec);
	if (twinned)
		printf(",\"twin\":{\"ph\":%.6f,\"ec\":%.6f}", ph_of(&twin.parts[MAIN]), ec_of(&twin.parts[MAIN]));
	printf("}\n");
	fflush(stdout);
}

int main(int count, char **words) {
	static char line[1 << 16];
	double measured = 0, slow = 0, apart = 2;
	for (int i = 1; i < count; i++) {
		if (strcmp(words[i], "-measured") == 0)
			measured = 1;
		else if (i + 1 < count && strcmp(words[i], "-fault") == 0)
			world.fault = words[++i];
		else if (i + 1 < count && strcmp(words[i], "-ponds") == 0)
			slow = strtod(words[++i], NULL);
		else if (i + 1 < count && strcmp(words[i], "-apart") == 0)
			apart = strtod(words[++i], NULL);
		else {
			fprintf(stderr, "water: %s is not a flag; there are -measured, -ponds SHARE, -apart HOURS, -fault held|half|swapped|undiluted|dead\n", words[i]);
			return 2;
		}
	}
	while (fgets(line, sizeof line, stdin)) {
		if (strstr(line, "\"start\":"))
			begin(line, measured, slow, apart);
		else
			step(line);
		say();
	}
	return 0;
}
