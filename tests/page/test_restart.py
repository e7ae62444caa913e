"""A server that dies without a word under an open page: a message, and nothing lost."""

import os
import shutil

import pytest
from browser import DEMO, chromium, found, served
from playwright.sync_api import expect

from tintlab.page import server

pytestmark = pytest.mark.skipif(
    found() is None and not os.environ.get("CI"),
    reason="no Chromium on this computer; install it with: apt-get install chromium",
)
PATIENCE = 30_000  # [ms] on a busy machine


def test_unsaved_work_outlives_a_killed_server(tmp_path):
    folder = shutil.copytree(DEMO / "tide-bell", tmp_path / "tide-bell")
    file = folder / "tide-bell.toml"
    before, kept = file.read_bytes(), folder / "tide-bell.toml.unsaved"
    with chromium() as browser:
        page = browser.new_page()
        page.set_default_timeout(PATIENCE)
        with served(file) as first:
            page.goto(first.address)
            page.get_by_role("button", name="more sea blue").click()
            expect(page.get_by_text("5 drops", exact=True)).to_be_visible()
            page.wait_for_timeout(server.OFTEN * 1500)
            first.process.kill()
            first.process.wait()
        assert kept.is_file()
        assert file.read_bytes() == before
        expect(page.get_by_text("tintlab does not answer.")).to_be_visible(
            timeout=PATIENCE
        )
        port = first.address.split(":")[2].split("/")[0]
        with served(file, "--port", port) as second:
            assert second.address != first.address
            expect(page.get_by_text("This page needs its key")).to_be_visible(
                timeout=PATIENCE
            )
            page.goto(second.address)
            expect(page.get_by_text("5 drops", exact=True)).to_be_visible()
            expect(page.get_by_text("changed, not saved")).to_be_visible()
            page.get_by_role("button", name="save").click()
            expect(page.get_by_text("as saved")).to_be_visible()
    assert b"5 drops" in file.read_bytes()
    assert not kept.exists()
