"""The cases of the demo's year: the spring failure, closed, and a complaint, open."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from lab.accounts.identity import ConfirmedIdentity
from lab.certificates.models import Certificate
from lab.checks.models import ArtefactCheck
from lab.common import clock
from lab.demo.spring import Spring
from lab.demo.world import World
from lab.evidence.models import Action, Case, CaseDecision, Letter
from lab.evidence.reach import touched_by
from lab.evidence.services import (
    add_action,
    assess,
    check_effect,
    close_case,
    decide_certificate,
    draft_letter,
    let_resume,
    open_case,
    record_done,
    record_telling,
)

#: Working days after the Friday on which the wrong bar was noticed.
TOLD_AFTER, CLOSED_AFTER = 1, 25


@dataclass(slots=True)
class SpringCase:
    """The case that the failed check opened, on its way to its closing."""

    world: World
    spring: Spring

    def plan(self) -> None:
        world = self.world
        friday = world.workday(self.spring.tuesday, 3)
        monday = world.workday(friday, TOLD_AFTER)
        world.plan(friday, 11, 0, self.assess)
        world.plan(friday, 11, 30, self.set_actions)
        world.plan(friday, 14, 0, self.write)
        world.plan(friday, 15, 0, self.tell)
        world.plan(monday, 8, 50, self.resume)
        world.plan(world.workday(monday, 2), 9, 0, self.actions_done)
        last = world.workday(friday, CLOSED_AFTER)
        world.plan(last, 10, 0, self.look_again)
        world.plan(last, 10, 30, self.close)

    @property
    def case(self) -> Case:
        failed = ArtefactCheck.objects.get(verdict=ArtefactCheck.Verdict.FAIL)
        return Case.objects.get(cause_key=f"check:{failed.pk}")

    @property
    def certificate(self) -> Certificate:
        """Return the one certificate that had gone out when it came to light."""
        (found,) = touched_by(self.case).certificates
        return found

    def assess(self) -> None:
        quality = self.world.staff.quality
        assess(
            case=self.case,
            significance="serious",
            reason="The failed check was 88 µm off, more than the stated "
            "uncertainties. The tracker was adjusted, so that Tuesday’s values can’t "
            "be corrected afterwards. Nothing before Tuesday’s morning check is in "
            "question.",
            may_recur=True,
            acting_user=quality,
        )
        decide_certificate(
            case=self.case,
            certificate=self.certificate,
            outcome=CaseDecision.Outcome.AMENDED,
            justification="All its results come from Tuesday’s session. They are "
            "measured anew and the certificate amended.",
            acting_user=quality,
        )

    def set_actions(self) -> None:
        today = clock.now().date()
        for what, person in (
            (
                "Mark each scale bar and its case by colour.",
                self.world.staff.technicians[0],
            ),
            (
                "Read the bar’s tag aloud before each closing check.",
                self.world.staff.technicians[1],
            ),
        ):
            add_action(
                case=self.case,
                what=what,
                responsible=person,
                due_on=today + timedelta(days=7),
                effect_due_on=today + timedelta(days=36),
                acting_user=self.world.staff.quality,
            )

    def write(self) -> None:
        draft_letter(
            case=self.case,
            customer=self.certificate.job.customer,
            facts="The check that closed Tuesday’s measuring was done on a wrong "
            "scale bar. The next check, on Wednesday morning, failed by more than the "
            "uncertainty that we stated.\n"
            "We stopped using the system, adjusted it, and measure your items anew on "
            "Monday. The amended certificate follows on Tuesday.",
            acting_user=self.world.staff.quality,
        )

    def tell(self) -> None:
        job = self.certificate.job
        record_telling(
            case=self.case,
            customer=job.customer,
            way="letter",
            letter=Letter.objects.get(case=self.case),
            told=job.contact.name,
            note="Sent by e-mail, and read to them by telephone. They had not used "
            "the parts yet.",
            at=clock.now() - timedelta(minutes=20),
            acting_user=self.world.staff.quality,
        )

    def resume(self) -> None:
        let_resume(
            case=self.case,
            reason="The tracker was adjusted on Wednesday, and the checks on the "
            "right bar have passed since.",
            acting_user=self.world.staff.quality,
        )

    def actions_done(self) -> None:
        for action, note in zip(self._actions(), ("Done.", "Agreed."), strict=True):
            record_done(
                action=action,
                note=f"{note} Everybody was shown on the day.",
                acting_user=action.responsible,
            )

    def look_again(self) -> None:
        for action in self._actions():
            check_effect(
                action=action,
                helped=True,
                note="Five weeks of closing checks looked through: all on the right "
                "bar.",
                acting_user=self.world.staff.quality,
            )

    def close(self) -> None:
        quality = self.world.staff.quality
        close_case(
            case=self.case,
            words="Four jobs measured anew, one certificate amended, nobody used the "
            "first values. Bars are told apart by colour now.",
            identity=ConfirmedIdentity(person_id=quality.pk, at=clock.now()),
            acting_user=quality,
        )

    def _actions(self) -> list[Action]:
        rows = Action.objects.filter(case__cause_key=self.case.cause_key)
        return list(rows.select_related("responsible", "case").order_by("pk"))


def plan_cases(world: World, spring: Spring) -> None:
    """Plan the case of the spring, and a complaint that is still open today."""
    SpringCase(world, spring).plan()
    world.plan(world.workday(world.last_day, -2), 15, 30, lambda: complain(world))


def complain(world: World) -> None:
    """Let a customer doubt the newest certificate; nobody has looked into it yet."""
    doubted = Certificate.objects.order_by("-pk").first()
    if doubted is None:
        return
    contact = doubted.job.contact
    open_case(
        cause=Case.Cause.COMPLAINT,
        title=f"{doubted.job.customer} doubts a length on {doubted.number}",
        account=f"{contact.name} rang: their own height gauge reads 0.09 mm less than "
        "the first characteristic on the certificate. They keep the parts aside until "
        "they hear from us.",
        job=doubted.job,
        acting_user=world.staff.coordinator,
    )
