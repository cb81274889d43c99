"""Ordinary German bench words for headings and codes, beside the English ones: common practice, no source."""

from __future__ import annotations

PHRASES: dict[str, tuple[str, ...]] = {
    "job_id": ("auftrag", "auftragsnummer", "auftragsnr", "auftrag nr", "auftrags nr", "fall", "fallnummer", "vorgang"),
    "received_date": ("eingang", "eingangsdatum", "eingegangen", "eingegangen am", "angenommen am", "eingang am"),
    "device_class": ("gerät", "geräteart", "gerätetyp", "art des geräts"),
    "board_family": ("platine", "platinentyp", "platinenfamilie", "platinenart"),
    "device_age_years": ("gerätealter", "alter des geräts"),
    "intake_damage": ("schaden", "schadensart", "art des schadens", "schaden bei eingang", "was ist passiert"),
    "second_damage": ("zweiter schaden", "weiterer schaden", "schaden 2"),
    "prior_rework": ("vorarbeit", "vorher geöffnet", "schon geöffnet", "frühere reparatur", "vorher bearbeitet"),
    "previous_job_id": ("früherer auftrag", "vorheriger auftrag"),
    "underfill": ("vergussmasse", "kleber", "harz", "unterfüllung"),
    "decision": ("entscheidung", "angenommen"),
    "decline_reason": ("ablehnungsgrund", "grund der ablehnung", "warum abgelehnt"),
    "guessed_success_pct": ("schätzung", "geschätzte chance", "erfolgsaussicht"),
    "technician_id": ("techniker", "technikerin", "bearbeiter", "bearbeitet von"),
    "donor_id": ("spender", "spenderplatine", "spender nr", "spendernummer"),
    "bench_hours": ("arbeitsstunden", "arbeitszeit", "werkbankstunden", "stunden gesamt"),
    "outcome": ("ergebnis", "endergebnis", "ausgang", "daten gerettet"),
    "closed_date": ("abgeschlossen", "abgeschlossen am", "abschluss", "erledigt am", "abschlussdatum", "ausgang am"),
    "failure_cause": (
        "ursache",
        "fehlerursache",
        "ursache des fehlschlags",
        "grund des fehlschlags",
        "warum gescheitert",
    ),
    "cause_evidence": ("beleg", "wie sicher", "sicherheit der ursache"),
    "fee_basis": ("preisart", "abrechnung", "abrechnungsart"),
    "fee_amount": ("preis", "honorar", "vereinbarter preis"),
    "donor_cost": ("spenderkosten", "spenderpreis", "kosten des spenders", "preis des spenders"),
    "donor_age_years": ("spenderalter", "alter des spenders"),
    "lot": ("lieferung", "chargennummer", "spendercharge"),
}
LOOSE: dict[str, tuple[str, ...]] = {
    "received_date": ("datum", "tag"),
    "device_age_years": ("alter",),
    "bench_hours": ("stunden", "zeit", "dauer"),
    "outcome": ("erfolg",),
    "intake_damage": ("problem", "fehler"),
    "board_family": ("modell", "typ"),
    "donor_cost": ("kosten",),
}
INVERTED: dict[str, tuple[str, ...]] = {"loss_reversible": ("endgültig verloren", "unwiederbringlich")}
TEST_PHRASES: dict[str, tuple[str, ...]] = {"boot_result": ("ergebnis",), "test_date": ("datum", "am")}
CHIP_PHRASES: dict[str, tuple[str, ...]] = {
    "clean_passes_n": ("reinigungsgänge", "reinigungen", "gereinigt"),
    "pads_lost_n": ("pads verloren", "verlorene pads", "pads weg", "pads fehlen"),
}
STEP_PHRASES: dict[str, tuple[str, ...]] = {"set_temp_c": ("temperatur", "heisslufttemperatur", "solltemperatur")}
SIDE_WORDS: dict[str, tuple[str, ...]] = {"lower": ("unterseite", "unten"), "upper": ("oberseite", "oben")}
STEP_WORDS: dict[str, tuple[str, ...]] = {
    "preheat": ("vorwärmen",),
    "removal": ("auslöten", "abheben"),
    "install": ("einlöten", "aufsetzen"),
    "touch_up": ("nachlöten",),
}
PERSONAL = ("kunde", "kundin", "kundenname", "telefon", "anschrift", "adresse", "seriennummer", "ansprechpartner")
IGNORED = ("bemerkung", "bemerkungen", "notiz", "notizen", "anmerkung", "anmerkungen", "rechnung", "regal")
UNITS: dict[str, tuple[str, ...]] = {
    "min": ("minuten",),
    "hours": ("std", "stunden"),
    "months": ("monate", "monaten"),
    "years": ("jahre", "jahren"),
    "s": ("sekunden",),
}

VALUES: dict[str, dict[str, tuple[str, ...]]] = {
    "device_class": {"phone": ("handy", "telefon"), "tablet": ("tablett",)},
    "intake_damage": {
        "drop": ("sturz", "gefallen", "sturzschaden"),
        "liquid": ("wasser", "wasserschaden", "flüssigkeit", "kaffee"),
        "bend_or_snap": ("biegung", "verbogen", "gebrochen", "bruch", "platine gebrochen"),
        "power_fault": ("überspannung", "falsches ladegerät"),
        "heat": ("hitze", "verbrannt", "brand"),
        "none_seen": ("kein schaden", "nichts zu sehen"),
    },
    "prior_rework": {
        "none": ("nein", "nie", "keine"),
        "elsewhere": ("andere werkstatt", "anderswo", "woanders"),
        "here": ("bei uns", "hier"),
    },
    "underfill": {"none": ("kein", "keine", "nein"), "partial": ("teilweise", "ecken"), "full": ("voll", "ganz")},
    "decision": {
        "accepted": ("ja", "angenommen"),
        "declined": ("nein", "abgelehnt"),
        "withdrawn": ("zurückgezogen", "vom kunden zurückgezogen"),
    },
    "decline_reason": {
        "chance_too_low": ("chance zu gering", "aussichtslos"),
        "no_donor": ("kein spender",),
        "price": ("zu teuer", "preis"),
        "no_time": ("keine zeit", "ausgelastet"),
    },
    "outcome": {
        "recovered": ("gerettet", "ja", "erfolg", "erfolgreich"),
        "not_recovered": ("nicht gerettet", "nein", "gescheitert", "kein erfolg"),
        "stopped_by_client": ("vom kunden abgebrochen", "kunde hat abgebrochen"),
        "blank": ("offen", "in arbeit"),
        "jobs.decision=declined": ("abgelehnt",),
    },
    "boot_result": {
        "data_readable": ("daten lesbar", "daten ok"),
        "data_partial": ("teilweise lesbar", "daten teilweise"),
        "starts_locked": ("gesperrt", "sperrbildschirm"),
        "restart_loop": ("neustartschleife", "startet immer neu"),
        "no_current": ("kein strom", "keine stromaufnahme"),
        "short": ("kurzschluss",),
        "jobs.first_boot_result=not_tested": ("nicht getestet", "kein test"),
    },
    "failure_cause": {
        "pads_lost": ("pads verloren", "pads abgerissen"),
        "chip_cracked": ("chip gebrochen", "riss im chip"),
        "poor_joint": ("schlechte lötstelle", "kalte lötstelle"),
        "donor_faulty_or_wrong": ("spender defekt", "falscher spender"),
        "not_found": ("nicht gefunden", "unbekannte ursache"),
    },
    "cause_evidence": {
        "confirmed": ("sicher", "gesehen", "gemessen"),
        "probable": ("wahrscheinlich",),
        "suspected": ("vermutet", "vermutung"),
    },
}
PARTLY = ("teilweise", "zum teil", "ein teil", "teil", "teile", "einige daten")
YES_WORDS = ("ja",)
NO_WORDS = ("nein",)
BLANK_WORDS = ("k.a", "k. a", "keine angabe", "entfällt")
UNKNOWN_WORDS = ("unbekannt", "unklar")
TOTALS = ("summe", "gesamt", "durchschnitt", "mittelwert", "anzahl")
