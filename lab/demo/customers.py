"""The invented lab's customers, whom one reaches there, and their parts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from lab.customers.models import Contact, Customer
from lab.customers.services import add_contact, add_customer, invite_contact
from lab.demo.people import Staff
from lab.metrology.units import Quantity
from lab.parts.entries import CharacteristicEntry
from lab.parts.models import PartRevision
from lab.parts.services import add_part, record_revision


def _length(
    number: str, what: str, nominal: str, tolerance: str
) -> CharacteristicEntry:
    return CharacteristicEntry(
        number, "length", what, "mm", nominal, f"-{tolerance}", tolerance
    )


def _diameter(
    number: str, what: str, nominal: str, tolerance: str
) -> CharacteristicEntry:
    return CharacteristicEntry(
        number, "diameter", what, "mm", nominal, f"-{tolerance}", tolerance
    )


def _form(number: str, what: str, tolerance: str) -> CharacteristicEntry:
    return CharacteristicEntry(
        number, "form", what, "mm", "0", "", tolerance, "minimum zone"
    )


def _position(number: str, what: str, tolerance: str) -> CharacteristicEntry:
    return CharacteristicEntry(
        number, "position", what, "mm", "0", "", tolerance, "datums A, B, C"
    )


@dataclass(frozen=True, slots=True)
class Drawing:
    """One part as its customer draws it."""

    number: str
    name: str
    revision: str
    material: str
    expansion: str
    expansion_u: str
    mass_kg: str
    characteristics: tuple[CharacteristicEntry, ...]


@dataclass(frozen=True, slots=True)
class Client:
    """One customer with its contact and drawings."""

    name: str
    address: str
    contact: str
    email: str
    drawings: tuple[Drawing, ...]


CLIENTS: Final = (
    Client(
        "Ravelin Ropeways",
        "Winch House\n4 Capstan Lane\nPort Ennis PE1 7RR",
        "Mabel Orrin",
        "mabel.orrin@ravelin.example",
        (
            Drawing(
                "RR-2210",
                "Hanger arm",
                "B",
                "Steel S355",
                "11.5",
                "0.6",
                "86",
                (
                    _length("1", "Eye to eye", "1480.00", "0.30"),
                    _length("2", "Eye to clamp face", "620.00", "0.25"),
                    _diameter("3", "Upper eye bore", "90.00", "0.12"),
                    _diameter("4", "Lower eye bore", "70.00", "0.12"),
                    _form("5", "Flatness of clamp face", "0.15"),
                    _position("6", "Position of lower eye", "0.40"),
                ),
            ),
            Drawing(
                "RR-3105",
                "Grip housing",
                "D",
                "Ductile iron",
                "11.0",
                "0.7",
                "41",
                (
                    _length("1", "Housing length", "412.00", "0.20"),
                    _length("2", "Jaw opening", "88.00", "0.15"),
                    _diameter("3", "Spindle bore", "60.00", "0.10"),
                    _form("4", "Flatness of base", "0.12"),
                ),
            ),
        ),
    ),
    Client(
        "Tern Tidal",
        "Unit 9, Graving Dock\nPort Ennis PE2 0TT",
        "Corwin Dace",
        "corwin.dace@terntidal.example",
        (
            Drawing(
                "TT-08-114",
                "Turbine hub casting",
                "A",
                "Duplex stainless steel",
                "13.0",
                "0.8",
                "640",
                (
                    _diameter("10", "Hub outside", "1150.00", "0.60"),
                    _diameter("11", "Main bore", "420.00", "0.25"),
                    _length("12", "Flange to flange", "760.00", "0.40"),
                    _form("13", "Flatness of blade flange 1", "0.20"),
                    _form("14", "Flatness of blade flange 2", "0.20"),
                    _position("15", "Position of blade flange 2", "0.60"),
                    _position("16", "Position of blade flange 3", "0.60"),
                ),
            ),
        ),
    ),
    Client(
        "Cobbold & Daughter",
        "The Old Ropewalk\nPort Ennis PE3 5CD",
        "Harriet Cobbold",
        "harriet@cobbold.example",
        (
            Drawing(
                "CD-441",
                "Wind chest",
                "2",
                "Oak and aluminium",
                "15.0",
                "6.0",
                "55",
                (
                    _length("1", "Chest length", "2400.00", "0.80"),
                    _length("2", "Chest width", "620.00", "0.50"),
                    _form("3", "Flatness of top board", "0.50"),
                    _length("4", "First to last pallet", "2180.00", "0.60"),
                ),
            ),
        ),
    ),
)


@dataclass(frozen=True, slots=True)
class Account:
    """A customer as the history works with them."""

    customer: Customer
    contact: Contact
    revisions: tuple[PartRevision, ...]


def open_accounts(staff: Staff) -> tuple[Account, ...]:
    """Enter every customer with a contact, who may look in, and the drawings."""
    return tuple(_open(client, staff) for client in CLIENTS)


def _open(client: Client, staff: Staff) -> Account:
    desk = staff.coordinator
    customer = add_customer(name=client.name, address=client.address, acting_user=desk)
    contact = add_contact(
        customer=customer, name=client.contact, email=client.email, acting_user=desk
    )
    invite_contact(contact=contact, acting_user=desk)
    revisions = tuple(_record(customer, one, staff) for one in client.drawings)
    return Account(customer, contact, revisions)


def _record(customer: Customer, drawing: Drawing, staff: Staff) -> PartRevision:
    part = add_part(
        customer=customer,
        number=drawing.number,
        name=drawing.name,
        acting_user=staff.coordinator,
    )
    return record_revision(
        part=part,
        revision=drawing.revision,
        material=drawing.material,
        expansion=Quantity(drawing.expansion, "µm/(m·K)"),
        expansion_u=Quantity(drawing.expansion_u, "µm/(m·K)"),
        mass=Quantity(drawing.mass_kg, "kg"),
        characteristics=drawing.characteristics,
        acting_user=staff.coordinator,
    )
