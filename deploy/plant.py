#!/usr/bin/env python3
"""A water of your own for leat rehearse -plant 'python3 deploy/plant.py'.

leat writes one JSON object a line, this program answers each with one line: the water after so many seconds in which so
many mL of each pump entered. This one is a stirred tank with a dead time, a mixing lag, a buffer that is twice what was
commissioned, plants that raise pH and drink nutrients. Replace what is between the two lines of dashes by your own.
"""
import json
import math
import sys


class Tank:
    def __init__(self, start):
        self.litres = start["litres"]
        self.ph, self.ec = start["ph"], start["ec"]
        self.dead, self.lag = start["dead_time_s"], start["lag_s"]
        self.buffer = 2 * start["buffer_meq_per_l_ph"]
        self.pumps = {p["name"]: p for p in start["pumps"]}
        self.pipe = []  # (when it arrives, meq of acid, EC times litres)
        self.acid = self.salt = 0.0  # arrived, still mixing
        self.now = 0.0

    # -----------------------------------------------------------------------------------------------------------------
    def step(self, seconds, ml):
        self.now += seconds
        for name, amount in ml.items():
            pump = self.pumps[name]
            self.pipe.append((self.now + self.dead, amount * pump["acid_meq_per_ml"], amount * pump["ec_ms_per_cm_per_ml_l"]))
        while self.pipe and self.pipe[0][0] <= self.now:
            _, acid, salt = self.pipe.pop(0)
            self.acid += acid
            self.salt += salt
        mixed = 1 - math.exp(-seconds / self.lag)
        acid, salt = self.acid * mixed, self.salt * mixed
        self.acid -= acid
        self.salt -= salt
        hours = seconds / 3600
        self.ph += (0.03 * hours - acid / self.litres) / self.buffer
        self.ec += salt / self.litres - 0.01 * hours
    # -----------------------------------------------------------------------------------------------------------------

    def say(self):
        print(json.dumps({"ph": self.ph, "ec": self.ec, "celsius": 22.0, "litres": self.litres}), flush=True)


tank = None
for line in sys.stdin:
    message = json.loads(line)
    if "start" in message:
        tank = Tank(message["start"])
    else:
        tank.step(message["seconds"], message["ml"])
    tank.say()
