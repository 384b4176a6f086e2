"""A device's log, maintenance, status, photos, documents and labels."""

from __future__ import annotations

import io
import struct
import zlib
from datetime import UTC, date, datetime, timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from PIL import Image
from pypdf import PdfReader

from lab.checks.models import Break, MeasuringSystem
from lab.checks.services.devices import break_systems
from lab.common import clock
from lab.common.actors import PROGRAM
from lab.common.errors import NotAcceptable, NotAllowed, WrongState
from lab.common.frozen import FrozenRecordChange
from lab.common.models import AuditEntry, WorkItem
from lab.common.work.running import work_off
from lab.equipment.due import planned_for
from lab.equipment.labels import label_pdf, sheet_pdf
from lab.equipment.models import Attachment, Device, DeviceEvent
from lab.equipment.selectors import is_in_service, standings
from lab.equipment.services import (
    add_device,
    end_maintenance,
    log_event,
    plan_maintenance,
    set_status,
)
from lab.jobs.readiness import readiness
from lab.jobs.services import pause_session, resume_session
from lab.laboratory.models import Room
from tests import chain

pytestmark = pytest.mark.django_db
NOW = chain.at(12)


@pytest.fixture
def lab(people) -> chain.Lab:
    return chain.found_lab(people)


@pytest.fixture
def tracker(lab) -> Device:
    return lab.system.tracker


def happened(device: Device, people, kind: str, **other) -> DeviceEvent:
    with clock.set_to(NOW):
        return log_event(
            **{
                "device": device,
                "kind": kind,
                "at": NOW,
                "note": "Mirror carrier replaced.",
                "acting_user": people.technician,
            }
            | other
        )


# --- The log, and the breaks that come of it ------------------------------------------


def test_no_repair_is_logged_without_a_break_of_each_system(
    people, lab, tracker
) -> None:
    before = Break.objects.count()
    made = happened(tracker, people, "repair")
    assert made.may_measure_differently
    assert WorkItem.objects.filter(
        kind="checks.break_systems", object_id=made.pk, state="wanted"
    ).exists()
    with clock.set_to(NOW):
        work_off()
        assert break_systems(event_id=made.pk, acting_user=PROGRAM) == []
    (one,) = Break.objects.order_by("-pk")[: Break.objects.count() - before]
    assert (one.system, one.kind, one.at) == (lab.system, "repair", NOW)
    assert one.recorded_by == people.technician
    assert one.note == f"{tracker.tag}: Mirror carrier replaced."


def test_a_system_out_of_use_is_broken_too(people, lab, tracker) -> None:
    MeasuringSystem.objects.update(in_use=False)
    happened(tracker, people, "damage")
    work_off()
    assert lab.system.breaks.filter(kind="knock").count() == 1


@pytest.mark.parametrize(("differently", "breaks"), [(False, 0), (True, 1)])
def test_maintenance_breaks_only_where_something_was_adjusted(
    people, lab, tracker, differently: bool, breaks: int
) -> None:
    happened(tracker, people, "maintenance", may_measure_differently=differently)
    work_off()
    assert lab.system.breaks.count() == breaks


def test_a_logger_that_is_repaired_breaks_no_system(people, lab) -> None:
    happened(lab.logger, people, "repair")
    work_off()
    assert not Break.objects.exists()


def test_a_version_has_a_history(people, lab, tracker) -> None:
    before = tracker.firmware
    happened(tracker, people, "firmware", firmware="9.1")
    later = NOW + timedelta(hours=1)
    with clock.set_to(later):
        log_event(
            device=tracker,
            kind="firmware",
            at=later,
            note="By the maker's release notes.",
            firmware="9.2",
            acting_user=people.technician,
        )
    tracker.refresh_from_db()
    steps = tracker.events.order_by("at").values_list(
        "firmware_before", "firmware_after"
    )
    assert tracker.firmware == "9.2"
    assert list(steps) == [(before, "9.1"), ("9.1", "9.2")]
    entry = AuditEntry.objects.filter(verb="device.event_logged").latest("pk")
    assert '"firmware":"9.2"' in entry.values_text


def test_a_move_keeps_where_it_was(people, lab, tracker) -> None:
    before = tracker.room
    other = Room.objects.create(
        site=lab.room.site,
        name="Long Room",
        **{
            name: getattr(lab.room, name)
            for name in (
                "temperature_lowest",
                "temperature_highest",
            )
        },
    )
    made = happened(tracker, people, "move", room=other)
    tracker.refresh_from_db()
    assert (made.room_before, made.room_after, tracker.room) == (before, other, other)


@pytest.mark.parametrize(
    ("kind", "other", "message"),
    [
        ("explosion", {}, "no kind of event"),
        ("repair", {"note": " "}, "it is empty"),
        ("repair", {"note": "tbd"}, "only holds the place"),
        ("repair", {"at": NOW + timedelta(hours=1)}, "in the future"),
        ("repair", {"firmware": "9"}, "entry of its own kind"),
        ("firmware", {"firmware": ""}, "it is empty"),
        ("move", {"room": None}, "which room"),
    ],
)
def test_an_entry_without_sense_is_refused(
    people, tracker, kind: str, other: dict, message: str
) -> None:
    with pytest.raises(NotAcceptable, match=message):
        happened(tracker, people, kind, **other)
    assert not DeviceEvent.objects.exists()


def test_a_version_told_out_of_turn_is_refused(people, tracker) -> None:
    happened(tracker, people, "firmware", firmware="9.1")
    with pytest.raises(NotAcceptable, match="later change of the same kind"):
        happened(
            tracker, people, "firmware", firmware="9.0", at=NOW - timedelta(days=1)
        )


def test_the_log_is_frozen_and_a_second_click_changes_nothing(people, tracker) -> None:
    made = happened(tracker, people, "repair")
    assert happened(tracker, people, "repair") == made
    with pytest.raises(FrozenRecordChange):
        made.delete()
    with pytest.raises(NotAllowed):
        happened(tracker, people, "damage", acting_user=people.coordinator)


def test_a_damaged_device_is_taken_out_in_the_same_breath(people, tracker) -> None:
    happened(tracker, people, "damage", note="Fell off the bench.", take_out=True)
    with clock.set_to(NOW):
        assert not is_in_service(tracker)
    assert tracker.statuses.get().reason == "Fell off the bench."


def test_the_page_logs_and_shows_what_breaks(sign_in, people, lab, tracker) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("equipment:log", args=[tracker.tag])
    assert client.get(address).status_code == 200
    local = clock.now().strftime("%Y-%m-%dT%H:%M")
    said = {"kind": "repair", "at": local, "note": "Cable <b>replaced</b>."}
    assert client.post(address, said | {"note": ""}).status_code == 400
    assert client.post(address, said).status_code == 302
    shown = client.get(reverse("equipment:detail", args=[tracker.tag])).content.decode()
    assert "Cable &lt;b&gt;replaced&lt;/b&gt;." in shown
    assert "Breaks the checks" in shown
    work_off()
    joined = client.get(reverse("board:device", args=[tracker.tag])).content.decode()
    assert lab.system.name in joined
    assert f"{tracker.tag}: Cable &lt;b&gt;replaced&lt;/b&gt;." in joined


# --- Maintenance ----------------------------------------------------------------------


def test_maintenance_comes_round_from_the_day_it_was_done(people, tracker) -> None:
    task = plan_maintenance(
        device=tracker,
        title="Clean the optics",
        every_days=90,
        first_due_on=date(2026, 3, 1),
        acting_user=people.technician,
    )
    assert planned_for(tracker) == [(task, date(2026, 3, 1))]
    happened(tracker, people, "maintenance", task=task)
    assert planned_for(tracker) == [(task, chain.DAY + timedelta(days=90))]
    with pytest.raises(NotAcceptable, match="kind maintenance"):
        happened(tracker, people, "repair", task=task)
    end_maintenance(task=task, acting_user=people.technician)
    assert planned_for(tracker) == []
    with pytest.raises(WrongState, match="off the plan already"):
        end_maintenance(task=task, acting_user=people.technician)


@pytest.mark.parametrize("days", [0, 3661])
def test_maintenance_needs_an_interval(people, tracker, days: int) -> None:
    with pytest.raises(NotAcceptable, match="Between one day"):
        plan_maintenance(
            device=tracker,
            title="Clean",
            every_days=days,
            first_due_on=date(2026, 3, 1),
            acting_user=people.technician,
        )


# --- Status ---------------------------------------------------------------------------


def test_a_restriction_belongs_to_the_status_restricted(people, tracker) -> None:
    said = {
        "device": tracker,
        "reason": "Lens scratched.",
        "acting_user": people.quality,
    }
    with pytest.raises(NotAcceptable, match="it is empty"):
        set_status(status="restricted", **said)
    with pytest.raises(NotAcceptable, match="goes with the status"):
        set_status(status="in service", restriction="No small holes", **said)
    set_status(status="restricted", restriction="No small holes", **said)
    (standing,) = standings(Device.objects.filter(pk=tracker.pk))
    assert (standing.word, standing.shape) == ("Restricted", "state-bad")


def test_out_of_service_blocks_readiness_start_and_resumption(people, lab) -> None:
    job = chain.ready_job(lab)
    with clock.set_to(NOW):
        said = {"device": lab.system.scanner, "acting_user": people.quality}
        set_status(status="out of service", reason="Dropped.", **said)
        gates = readiness(job, person=people.technician, system=lab.system, at=NOW)
        gate = next(one for one in gates if one.name == "Calibrations current")
        assert (gate.met, gate.hard) == (False, True)
        with pytest.raises(WrongState, match="out of service"):
            chain.start(lab, job)
        set_status(
            status="restricted", reason="Tested.", restriction="No holes", **said
        )
        gates = readiness(job, person=people.technician, system=lab.system, at=NOW)
        gate = next(one for one in gates if one.name == "Calibrations current")
        assert "Restricted: " in gate.reason
        assert chain.start(lab, job).state == "running"


def test_a_session_is_not_resumed_with_a_device_out_of_service(people, lab) -> None:
    from_nine = chain.ready_job(lab)
    with clock.set_to(NOW):
        session = chain.start(lab, from_nine)
        pause_session(
            session=session, at=NOW, reason="Lunch.", acting_user=people.technician
        )
        set_status(
            device=lab.system.tracker,
            status="out of service",
            reason="Fell.",
            acting_user=people.technician,
        )
        with pytest.raises(WrongState, match="out of service"):
            resume_session(session=session, at=NOW, acting_user=people.technician)


@pytest.mark.parametrize("tag", ["due", "Labels", "calendar"])
def test_a_word_of_the_register_is_no_tag(people, tag: str) -> None:
    with pytest.raises(NotAcceptable, match="word of the register"):
        add_device(
            tag=tag,
            kind="logger",
            name="Logger",
            serial="1",
            acting_user=people.technician,
        )


# --- Photos and documents -------------------------------------------------------------


def picture(kind: str = "PNG", **info) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 30), "#8f2f20").save(out, kind, **info)
    return out.getvalue()


def bomb() -> bytes:
    """Return a small PNG that says it has 60,000 × 60,000 pixels."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        body = kind + content
        return (
            struct.pack(">I", len(content)) + body + struct.pack(">I", zlib.crc32(body))
        )

    head = struct.pack(">IIBBBBB", 60000, 60000, 8, 2, 0, 0, 0)
    content = zlib.compress(bytes(1000))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", content)


def upload(client: Client, address: str, content: bytes, name: str):
    sent = SimpleUploadedFile(name, content)
    return client.post(address, {"upload": sent, "title": "From the front"})


def test_a_photo_is_written_anew_and_shown(sign_in, people, tracker) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("equipment:add-photo", args=[tracker.tag])
    sent = picture("JPEG", comment=b"taken at home")
    assert upload(client, address, sent, "front.jpg").status_code == 302
    kept = Attachment.objects.get()
    shown = client.get(reverse("equipment:attachment", args=[tracker.tag, kept.pk]))
    content = b"".join(shown.streaming_content)
    assert shown["Content-Type"] == "image/jpeg"
    assert shown["Content-Disposition"].startswith("inline")
    assert shown["X-Content-Type-Options"] == "nosniff"
    assert b"taken at home" in sent
    assert b"taken at home" not in content
    again = upload(client, address, sent, "front.jpg")
    assert "has this file already" in again.content.decode()


@pytest.mark.parametrize(
    ("content", "name", "message"),
    [
        (bomb(), "bomb.png", "pixels"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "a.png", "not a JPEG"),
        (b"%PDF-1.7 nothing", "front.jpg", "not a JPEG"),
        (picture()[:60], "cut.png", "can&#x27;t be read"),
        (b"", "empty.png", "empty"),
    ],
)
def test_a_hostile_photo_leaves_nothing(
    sign_in, people, tracker, content: bytes, name: str, message: str
) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("equipment:add-photo", args=[tracker.tag])
    answer = upload(client, address, content, name)
    assert answer.status_code == 400
    assert message in answer.content.decode()
    assert not Attachment.objects.exists()


def test_a_photo_too_large_is_refused_unread(
    sign_in, people, tracker, settings
) -> None:
    settings.UPLOAD_LIMITS = settings.UPLOAD_LIMITS | {"photo": 1000}
    client = sign_in(Client(), people.technician)
    address = reverse("equipment:add-photo", args=[tracker.tag])
    answer = upload(client, address, picture() + bytes(2_000_000), "large.png")
    assert answer.status_code == 413


def test_a_drawing_that_runs_is_only_ever_saved(sign_in, people, tracker) -> None:
    client = sign_in(Client(), people.technician)
    address = reverse("equipment:add-document", args=[tracker.tag])
    script = b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>"
    assert upload(client, address, script, "drawing.svg").status_code == 302
    kept = Attachment.objects.get()
    page = reverse("equipment:attachment", args=[tracker.tag, kept.pk])
    answer = client.get(page)
    assert b"".join(answer.streaming_content) == script
    assert answer["Content-Type"] == "application/octet-stream"
    assert answer["Content-Disposition"].startswith("attachment")
    assert sign_in(Client(), people.client).get(page).status_code == 403
    remove = reverse("equipment:remove-file", args=[tracker.tag, kept.pk])
    assert client.get(remove).status_code == 405
    assert client.post(remove).status_code == 302
    assert client.post(remove).status_code == 404
    assert client.get(page).status_code == 404


# --- Labels ---------------------------------------------------------------------------


def words(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(page.extract_text() for page in pages)


def test_a_label_says_how_the_device_stands(people, lab) -> None:
    with clock.set_to(NOW):
        (good,) = standings(Device.objects.filter(pk=lab.bar.pk))
        content = label_pdf(good, chain.DAY)
        set_status(
            device=lab.bar,
            status="out of service",
            reason="Bent.",
            acting_user=people.technician,
        )
        (bad,) = standings(Device.objects.filter(pk=lab.bar.pk))
    page = PdfReader(io.BytesIO(content)).pages[0]
    # Millimetres in points, to the tenth that reportlab writes.
    assert float(page.mediabox.width) == pytest.approx(62 / 25.4 * 72, abs=0.1)
    assert float(page.mediabox.height) == pytest.approx(29 / 25.4 * 72, abs=0.1)
    assert good.due_on is not None
    assert f"Current until {good.due_on:%Y-%m-%d}" in words(content)
    said = words(label_pdf(bad, chain.DAY))
    assert "DO NOT USE: out of service" in said
    assert "Current until" not in said


def test_a_sheet_leaves_used_places_free(sign_in, people, lab) -> None:
    client = sign_in(Client(), people.coordinator)
    address = reverse("equipment:labels")
    assert client.get(address).status_code == 200
    assert client.get(address, {"used": "0"}).status_code == 400
    assert client.get(address, {"used": "27", "devices": "SB-1"}).status_code == 400
    tags = sorted(Device.objects.values_list("tag", flat=True))
    answer = client.get(address, {"used": "26", "devices": tags})
    pages = PdfReader(io.BytesIO(answer.content)).pages
    assert answer["Content-Type"] == "application/pdf"
    assert len(pages) == 2
    assert tags[0] in pages[0].extract_text()
    assert tags[1] not in pages[0].extract_text()
    with pytest.raises(ValueError, match="places used"):
        sheet_pdf([], chain.DAY)


def test_a_printed_label_is_the_same_bytes_again(people, lab) -> None:
    with clock.set_to(datetime(2026, 3, 17, 9, tzinfo=UTC)):
        (one,) = standings(Device.objects.filter(pk=lab.bar.pk))
        assert label_pdf(one, chain.DAY) == label_pdf(one, chain.DAY)
