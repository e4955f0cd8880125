"""The write queue's housekeeping between two scans."""

from __future__ import annotations

from pathlib import Path

from firelog.intake.collect import write_queue
from firelog.intake.collect.write_queue import Write, WriteQueue
from firelog.intake.fields import Value
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
DAY_US = 86_400_000_000


def test_a_fast_source_does_not_wait_for_blocks_at_each_checkpoint(tmp_path: Path) -> None:
    """Checkpoints come with every few hundred scans; yesterday's rows are coded once a minute."""
    now_s = 0.0
    with Store.open(tmp_path / "a.firelog", write=True) as store:
        queue = WriteQueue(
            store,
            (),
            lambda: now_s,
            stored=lambda *_: None,
            refused=lambda _: None,
            accepted=lambda _: None,
            left_out=lambda *_: None,
            log_grows=lambda _: None,
        )

        def speak(scans: int, t_us: int) -> int:
            """Store scans and do what is due; return how many rows are not in blocks."""
            for n in range(scans):
                queue.put(Write("box", "kiln", t_us + n, (Value("top", 20.5),)))
            queue.work()
            queue.checkpoint_if_due(T0 + 2 * DAY_US)
            rows = store.connection.execute("select count(*) from readings").fetchone()
            return int(rows[0])

        many = write_queue.CHECKPOINT_WRITES
        assert speak(many, T0) == many
        now_s = write_queue.COMPACT_S + 1
        assert speak(many, T0 + DAY_US // 100) == 0
        now_s += 1
        assert speak(many, T0 + DAY_US // 50) == many
        now_s += write_queue.COMPACT_BEHIND_S
        assert speak(many, T0 + DAY_US // 25) == 0
