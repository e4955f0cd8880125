"""The watch's rounds: each goes from the store to facts, alarms and calls.

Everything that decides is pure and elsewhere; here it meets store, clock and dispatcher.
"""

from __future__ import annotations

import contextlib
import subprocess
import sys
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import tzinfo

from firelog.alarm import AlarmState
from firelog.intake.clock import ArrivalClock
from firelog.record import alarms, outbox
from firelog.record.rows import Call
from firelog.record.store import Store
from firelog.say.reader import reader_of
from firelog.units import seconds_since, us_after, us_to_datetime
from firelog.watch.calls import calling, links
from firelog.watch.calls.delivery import DeliveryResult, Dispatcher
from firelog.watch.calls.escalation import Alarm, Round, StandingAlarms, next_round, respond
from firelog.watch.calls.message import Attempt, compose
from firelog.watch.conditions.condition import Condition
from firelog.watch.conditions.every import conditions
from firelog.watch.facts import Facts
from firelog.watch.plan import WatchPlan
from firelog.watch.run import heads
from firelog.watch.run.heartbeat import HeartbeatHealth
from firelog.watch.run.observe import Observer

LIFE_S, IDLE_S = 10.0, 45.0  # how often the watch writes down that it is walking
SOUND_S = 30.0
LIFE = "watch_round_us"
HEART = "watch_heartbeat"
REWORD_S = 60.0


class RoundRunner:
    """Walks rounds over a store that is open for writing; call :meth:`round` about once a second.

    ``say`` is told what happens, a line each. ``observer``, ``dispatcher`` and the ``sound`` of
    last resort are the usual ones when not given; ``heart`` tells how the heartbeat is taken.
    """

    def __init__(
        self,
        store: Store,
        plan: WatchPlan,
        clock: ArrivalClock,
        *,
        say: Callable[[str], None] = lambda _: None,
        observer: Observer | None = None,
        dispatcher: Dispatcher | None = None,
        sound: Callable[[Sequence[str]], None] | None = None,
        heart: Callable[[], HeartbeatHealth | None] = lambda: None,
    ) -> None:
        self._store, self._plan, self._clock, self._say = store, plan, clock, say
        self._observer = observer or Observer(store, clock)
        self.dispatcher = dispatcher or Dispatcher(plan.people)
        self._ring, self._heart = sound or ring, heart
        self._key = links.secret_key(store.path) if plan.address else b""
        self._tz: tzinfo = reader_of(store).tz
        self._step_id = alarms.newest_step(store)
        self._life_s = self._sound_s = self._reworded_s = -1e9
        self._soaked: set[tuple[str, str]] = set()
        self.standing = self._resumed()

    # ------------------------------------------------------------ a round
    def round(self) -> Facts:
        """Look, decide, write down, call; returns what was seen. Raises :class:`StoreError`."""
        facts = self._observer.look()
        seen = conditions(facts, self._plan.options)
        self._heed_people()
        made = next_round(self.standing, self._clock.steady_s(), seen)
        if made.steps or made.calls:
            with self._store.writing():
                self._heed_people()  # now that nobody else can write: who was faster counts
                made = next_round(self.standing, self._clock.steady_s(), seen)
                self._write(made)
        self.standing = made.standing
        self._note_soaks(facts)
        if sent := heads.send_newest(self._store, self._plan, self._clock.now_us()):
            self._say(sent)
        self._call()
        self._show_life(LIFE_S if facts.kilns else IDLE_S)
        return facts

    def stop(self) -> None:
        """Let the dispatcher's threads end."""
        self.dispatcher.stop()

    # ------------------------------------------------------------ alarms
    def _resumed(self) -> StandingAlarms:
        """Take over the alarms that stood when the watch ended."""
        at_s, now_us = self._clock.steady_s(), self._clock.now_us()
        found = {}
        for alarm in alarms.open_alarms(self._store):
            condition = Condition(
                alarm.key, alarm.kind, alarm.kiln or "", alarm.text, alarm.remedy, alarm.priority,
                None,
            )  # fmt: skip
            until = alarm.shelved_until_us
            found[alarm.key] = Alarm(
                condition,
                alarm.state,
                on=alarm.present,
                since_s=at_s,
                present=alarm.present,
                called_s=None
                if alarm.called_us is None
                else at_s - seconds_since(alarm.called_us, now_us),
                owed=alarm.state is AlarmState.UNACKNOWLEDGED and alarm.called_us is None,
                returned_s=at_s if alarm.state is AlarmState.RETURNED else None,
                until_s=None if until is None else at_s + seconds_since(now_us, until),
            )
        return StandingAlarms(found)

    def _heed_people(self) -> None:
        """Bring what people did to alarms, in whatever process, into this process."""
        if alarms.newest_step(self._store) == self._step_id:
            return
        by_id = {alarm.id: alarm for alarm in alarms.open_alarms(self._store)}
        for step in alarms.steps(self._store, after_id=self._step_id):
            self._step_id = step.id
            if step.who == alarms.PROGRAM:
                continue
            one = by_id.get(step.alarm_id) or alarms.one(self._store, step.alarm_id)
            until_s = self._clock.steady_s()
            if one.shelved_until_us is not None:
                until_s += seconds_since(self._clock.now_us(), one.shelved_until_us)
            self.standing = respond(self.standing, one.key, step.act, until_s=until_s)
            mine = self.standing.alarms.get(one.key)
            if mine is not None and mine.state is not step.state:  # the store is the truth
                agreed = {**self.standing.alarms, one.key: replace(mine, state=step.state)}
                self.standing = StandingAlarms(agreed)
            self._say(f"{step.act}: {one.text} ({step.who})")

    def _write(self, made: Round) -> None:
        now_us = self._clock.now_us()
        for step in made.steps:
            alarm = made.standing.alarms.get(step.key)
            condition = step.condition if alarm is None else alarm.condition
            alarms.keep(
                self._store,
                key=condition.key,
                kind=condition.kind,
                kiln=condition.kiln or None,
                firing=self._observer.firing(condition.kiln),
                priority=condition.priority,
                text=condition.text,
                remedy=condition.remedy,
                act=step.act,
                state=step.state,
                present=alarm is not None and alarm.present,
                t_us=now_us,
            )
            if step.state.standing or step.before.standing:
                self._say(f"{step.state}: {condition.text}")
        self._step_id = alarms.newest_step(self._store)
        called = {condition.key for condition in made.calls}
        for one in alarms.open_alarms(self._store):
            if one.key in called:
                alarms.mark_called(self._store, one.id, now_us)

    def _note_soaks(self, facts: Facts) -> None:
        """A soak that is complete is an event: nobody has to do anything yet."""
        for kiln in facts.kilns:
            if kiln.course is None or kiln.course.place is None:
                continue
            for step in kiln.course.place.steps:
                segment = step.segment
                known = (kiln.firing, segment.name) in self._soaked
                if not segment.is_hold or step.done_s is None or known:
                    continue
                self._soaked.add((kiln.firing, segment.name))
                firing = self._store.firing(kiln.firing)
                t_us = us_after(firing.began_us, step.done_s)
                text = f"{segment.name!r} has soaked as long as asked"
                written = [e for e in self._store.events(firing) if e.kind == "soak complete"]
                if text not in [event.text for event in written]:
                    self._store.add_event(
                        t_us,
                        "soak complete",
                        text,
                        who=alarms.PROGRAM,
                        kiln=kiln.kiln,
                        firing_id=firing.id,
                    )

    # ------------------------------------------------------------ calls
    def _call(self) -> None:
        now_us = self._clock.now_us()
        for outcome in self.dispatcher.outcomes():
            self._note(outcome, now_us)
        self._reword()
        standing = alarms.open_alarms(self._store)
        calls = outbox.calls_for(self._store, [alarm.id for alarm in standing])
        pending = outbox.open_calls(self._store)
        for call in calling.no_longer_needed(standing, pending):
            outbox.end_call(self._store, call.id, t_us=now_us, outcome="no longer needed")
        local = us_to_datetime(now_us, self._tz)
        minute = local.hour * 60 + local.minute
        for new in calling.next_calls(standing, calls, self._plan, now_us, minute):
            self._put(new, now_us)
        due = [call for call in outbox.open_calls(self._store) if call.due_us <= now_us]
        for outcome in self.dispatcher.take([self._composed(c, now_us) for c in due], now_us):
            self._note(outcome, now_us)
        if calling.unheard(standing, calls, self._plan, now_us):
            self._sound()

    def _reword(self) -> None:
        """Bring the words of standing alarms up to what is seen now, about once a minute."""
        if self._clock.steady_s() - self._reworded_s < REWORD_S:
            return
        self._reworded_s = self._clock.steady_s()
        for one in alarms.open_alarms(self._store):
            mine = self.standing.alarms.get(one.key)
            if mine is None or not mine.present:
                continue
            said = mine.condition
            if said.text and (said.text, said.remedy) != (one.text, one.remedy):
                alarms.reword(self._store, one.id, said.text, said.remedy)

    def _composed(self, call: Call, now_us: int) -> Call:
        """Return a call in the words of now; the link is in what is sent, not in the store."""
        if call.alarm_id is None or self.dispatcher.trying(call.id):
            return call
        alarm = alarms.one(self._store, call.alarm_id)
        made = outbox.calls_for(self._store, [call.alarm_id])
        number = len({(one.person, one.made_us) for one in made if one.made_us <= call.made_us})
        title, body = compose(alarm, Attempt(call, number, now_us), self._tz)
        if (title, body) != (call.title, call.body):
            outbox.reword(self._store, call.id, title, body)
        if self._plan.address:
            invitation = links.Invitation(alarm.id, call.person)
            body += f"\nSeen: {self._plan.address}/seen/{links.token(self._key, invitation)}"
        return replace(call, title=title, body=body)

    def _put(self, new: calling.NewCall, now_us: int) -> None:
        with self._store.writing():
            for way in new.person.ways:
                outbox.add_call(
                    self._store,
                    alarm_id=new.alarm.id,
                    person=new.person.name,
                    way=way.label,
                    why=new.why,
                    title=new.alarm.kind,
                    body=new.alarm.text,
                    made_us=now_us,
                )
        self._say(f"calling {new.person.name} ({new.why}): {new.alarm.text}")

    def _note(self, outcome: DeliveryResult, now_us: int) -> None:
        call = outcome.call
        tries = len(outbox.attempts(self._store, call.id)) + 1
        next_us = None if outcome.ok else calling.next_try_us(call, tries, now_us)
        outbox.add_attempt(
            self._store, call.id, t_us=now_us, ok=outcome.ok, answer=outcome.answer, next_us=next_us
        )
        self._say(f"to {call.person} by {call.way}: {outcome.answer}")

    def _sound(self) -> None:
        """The last resort: a sound on this machine, again and again until somebody acknowledges."""
        if self._clock.steady_s() - self._sound_s < SOUND_S:
            return
        self._sound_s = self._clock.steady_s()
        self._say("nobody has been reached: sounding here")
        self._ring(self._plan.sound)

    def _show_life(self, every_s: float) -> None:
        if self._clock.steady_s() - self._life_s >= every_s:
            self._life_s = self._clock.steady_s()
            self._store.set_setting(LIFE, str(self._clock.now_us()))
            health = self._heart()
            self._store.set_setting(HEART, "" if health is None else health.stored())


def ring(command: Sequence[str] = ()) -> None:
    """Make a sound by a command, or by the terminal's bell; never raises and never waits."""
    if command and command[0] != "bell":
        threading.Thread(target=_run, args=(tuple(command),), name="sound", daemon=True).start()
        return
    sys.stderr.write("\a")
    sys.stderr.flush()


def _run(command: Sequence[str]) -> None:
    with contextlib.suppress(OSError, subprocess.SubprocessError):
        subprocess.run(command, stdin=subprocess.DEVNULL, timeout=SOUND_S, check=False)


def age_s(store: Store, now_us: int) -> float | None:
    """Return how long ago the watch last said that it walks, or None when it never did."""
    told = store.setting(LIFE)
    return seconds_since(int(told), now_us) if told.isdigit() else None
