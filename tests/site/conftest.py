"""Syncing is checked by what a torn file does, not by the disk: thousands of real syncs are slow."""

from __future__ import annotations

import os

import pytest


@pytest.fixture(autouse=True)
def quick_sync(monkeypatch):
    monkeypatch.setattr(os, "fsync", lambda handle: None)
