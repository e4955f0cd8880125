"""Invented temperatures: ovens, kilns, fires, weather; the same numbers on every machine."""

import numpy as np


def wobble(n, size, seed):
    """A restless trace without a random generator: sines whose periods share no multiple."""
    i = np.arange(n)
    waves = sum(np.sin(i * f + seed * k) for k, f in enumerate((0.37, 0.911, 1.73, 2.419), 1))
    return size * waves / 4


def follow(n, *points, noise=0.4, seed=1):
    """A trace along points (share of the length, °C), such as (0, 20), (0.5, 870), (1, 300)."""
    at, level = zip(*points, strict=True)
    return np.interp(np.linspace(0, 1, n), at, level) + wobble(n, noise, seed)


def firing(n, top=870.0, seed=1):
    """A kiln: up, hold, and some way down."""
    return follow(n, (0, 21), (0.45, top), (0.75, top + 4), (1, 0.55 * top), seed=seed)


def fire(minutes, share=1.0, seed=1):
    """A furnace on the standard curve, 20 + 345 log10(8 t + 1), times a share."""
    t = np.clip(np.asarray(minutes, float), 0, None)
    return 20 + share * 345 * np.log10(8 * t + 1) + wobble(len(t), 1.5, seed)


def weather(n, per_day, mean=9.0, swing=6.0, seed=1):
    """Air temperature by day and night."""
    i = np.arange(n)
    return mean - swing * np.cos(2 * np.pi * (i / per_day - 0.12)) + wobble(n, 0.8, seed)


def share(n, low, high, seed):
    """Something else that a file carries: humidity, draught, flow, output."""
    return (low + high) / 2 + wobble(n, (high - low) / 2, seed)
