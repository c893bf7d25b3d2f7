"""Triggers for both engines: audit of every table, tables to which rows may only be added, and rows that must follow on.

They are made again after every migration, because SQLite drops a table's triggers when a migration rebuilds it.
Names start with `keep_`. hospital.checks refuses to run while one is missing.
"""

from __future__ import annotations

from collections.abc import Iterator

from django.apps import apps
from django.db import models

OUR_APPS = ("hospital", "handover")
# Reference rows come from files under version control, and the audit does not audit itself. Proposals are worked out every
# night from rows that are audited, and nobody acts on one without publishing a plan: thousands of rows a night would only
# bury what people did. A reading of an incubator says itself who entered it and when, and is never changed. Mailed codes and
# counts of tries live for minutes; that somebody signed in is written down by SignedIn. What a file's rows said stands beside
# the cases made of them, which are audited. A letter is moved on by the sender several times, and says itself what became of it
# and who settled it.
NOT_AUDITED = {
    "AuditEntry", "TaxonGroup", "Cause", "Advice", "LibraryRow", "CaseCounter", "Proposal", "Reading", "MailedCode", "Tries",
    "RowProblem", "ImportedCase", "Letter",
}  # fmt: skip
# Of these tables only the rows that people write; the others are reference rows.
AUDITED_WHERE = {"Species": 'NOT {row}."is_shipped"'}
# What the audit must not repeat: secrets, and what belongs to a finder, who may ask to be forgotten.
REDACTED = {
    "Person": {"password", "last_login"},
    "SignedIn": {"session_key", "seen_on"},
    "Passkey": {"credential", "sign_count", "used_at"},
    "Invitation": {"digest"},
    "AnimalCode": {"digest"},
    "Finder": {"name", "phone", "email", "address"},
    "Feed": {"token_hash"},
}
APPEND_ONLY = {
    "AuditEntry", "Weight", "LogEntry", "LogPhoto", "Plan", "PlannedDate", "Pack", "RegisterPage", "RegisterLine", "CountEntry",
    "FeedingPlan", "FluidPlan", "PlanStop", "Reading", "SetAside", "TheatreReading", "SignedSet", "Message", "PassedOn",
}  # fmt: skip
# Rows of an append-only table that may go after all: what came with an old spreadsheet, while that import is being undone.
MAY_GO = {
    "Weight": "EXISTS (SELECT 1 FROM hospital_importedcase c JOIN hospital_import i ON i.id = c.of_id "
    "WHERE c.patient_id = OLD.patient_id AND i.state = 'undone')",
}

_LINES = "hospital_registerline"
_LAST = f"(SELECT max(number) FROM {_LINES} WHERE page_id = NEW.page_id)"
_OF_LAST = f"(SELECT {{}} FROM {_LINES} WHERE page_id = NEW.page_id AND number = NEW.number - 1)"
_REFERRED = f"(SELECT {{}} FROM {_LINES} WHERE id = NEW.refers_to_id)"
# Model → what refuses a new row: a condition in SQL that both engines read alike, and the sentence.
GUARDS: dict[str, list[tuple[str, str]]] = {
    "RegisterLine": [
        (f"NEW.number <> coalesce({_LAST}, 0) + 1", "register lines are numbered without a gap"),
        (
            f"NEW.balance_thousandths <> coalesce({_OF_LAST.format('balance_thousandths')}, 0) + NEW.moved_thousandths",
            "the balance does not follow from the line before",
        ),
        (f"NEW.previous_hash <> coalesce({_OF_LAST.format('hash')}, '')", "the line does not carry the hash of the line before"),
        (f"NEW.entered_at < {_OF_LAST.format('entered_at')}", "register lines are entered one after the other"),
        (
            "NEW.hospital_id <> (SELECT hospital_id FROM hospital_registerpage WHERE id = NEW.page_id)",
            "a line belongs to the hospital of its page",
        ),
        (f"NEW.refers_to_id IS NOT NULL AND coalesce({_REFERRED.format('page_id')}, 0) <> NEW.page_id", "a line refers to its own page"),
        (
            f"NEW.kind = 'witnessed' AND (NEW.recorded_by_id = {_REFERRED.format('recorded_by_id')} "
            f"OR {_REFERRED.format('witness_id')} IS NOT NULL)",
            "a witness is somebody else than the person who wrote the line, and signs once",
        ),
        (
            f"NEW.kind = 'correction' AND {_REFERRED.format('kind')} = 'witnessed'",
            "what was witnessed is corrected, not the signature",
        ),
    ],
}  # fmt: skip


def audited_models() -> list[type[models.Model]]:
    return [
        m
        for app in OUR_APPS
        for m in apps.get_app_config(app).get_models(include_auto_created=True)
        if m.__name__ not in NOT_AUDITED
    ]


def append_only_models() -> list[type[models.Model]]:
    return [m for app in OUR_APPS for m in apps.get_app_config(app).get_models() if m.__name__ in APPEND_ONLY]


def guarded_models() -> list[type[models.Model]]:
    return [m for app in OUR_APPS for m in apps.get_app_config(app).get_models() if m.__name__ in GUARDS]


def expected_names() -> set[str]:
    """The names that the database must hold, as `table.trigger`."""
    audited = {f"{m._meta.db_table}.keep_audit_{a}" for m in audited_models() for a in ("insert", "update", "delete")}
    kept = {f"{m._meta.db_table}.keep_rows_{a}" for m in append_only_models() for a in ("update", "delete")}
    return audited | kept | {f"{m._meta.db_table}.keep_order_insert" for m in guarded_models()}


def names_in(connection) -> set[str]:
    """The names that the database does hold, as `table.trigger`."""
    sql = {
        "sqlite": "SELECT tbl_name, name FROM sqlite_master WHERE type = 'trigger'",
        "postgresql": "SELECT c.relname, t.tgname FROM pg_trigger t JOIN pg_class c ON c.oid = t.tgrelid "
        "WHERE NOT t.tgisinternal",
    }[connection.vendor]
    with connection.cursor() as cursor:
        cursor.execute(sql)
        rows = cursor.fetchall()
    return {f"{table}.{name.removesuffix('_on_' + table)}" for table, name in rows}


def install(connection) -> None:
    """Drop and make every trigger anew."""
    statements = {"sqlite": _sqlite, "postgresql": _postgresql}[connection.vendor]
    with connection.cursor() as cursor:
        for statement in statements(connection):
            cursor.execute(statement)


def _columns(model: type[models.Model]) -> list[str]:
    return [field.column for field in model._meta.concrete_fields]


def _owner(model: type[models.Model], owner: str) -> str | None:
    """The column that says which patient or hospital a row belongs to."""
    if model.__name__.lower() == owner:
        return model._meta.pk.column
    column = f"{owner}_id"
    return column if column in _columns(model) else None


def _sqlite(connection) -> Iterator[str]:
    for model in audited_models():
        for action, row in (("insert", "NEW"), ("update", "NEW"), ("delete", "OLD")):
            yield from _sqlite_audit(model, action, row)
    for model in append_only_models():
        table = model._meta.db_table
        for action in ("update", "delete"):
            yield f'DROP TRIGGER IF EXISTS "keep_rows_{action}_on_{table}"'
            unless = f" WHERE NOT {MAY_GO[model.__name__]}" if action == "delete" and model.__name__ in MAY_GO else ""
            yield (
                f'CREATE TRIGGER "keep_rows_{action}_on_{table}" BEFORE {action.upper()} ON "{table}" '
                f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'){unless}; END"
            )
    for model in guarded_models():
        yield from _sqlite_guard(model)


def _sqlite_guard(model: type[models.Model]) -> Iterator[str]:
    table = model._meta.db_table
    refusals = " ".join(f"SELECT RAISE(ABORT, '{sentence}') WHERE {wrong};" for wrong, sentence in GUARDS[model.__name__])
    yield f'DROP TRIGGER IF EXISTS "keep_order_insert_on_{table}"'
    yield f'CREATE TRIGGER "keep_order_insert_on_{table}" BEFORE INSERT ON "{table}" BEGIN {refusals} END'


def _sqlite_audit(model: type[models.Model], action: str, row: str) -> Iterator[str]:
    table = model._meta.db_table

    def as_json(row: str) -> str:
        hidden = REDACTED.get(model.__name__, set())
        pairs = (
            f"'{column}', "
            + (f"iif({row}.\"{column}\" IN ('', NULL), '', '(private)')" if column in hidden else f'{row}."{column}"')
            for column in _columns(model)
        )
        # SQLite takes at most 127 arguments, so a wide table would need json_patch; none of ours is near that.
        return f"json_object({', '.join(pairs)})"

    def owner(name: str) -> str:
        column = _owner(model, name)
        return f'{row}."{column}"' if column else "NULL"

    before = as_json("OLD") if action != "insert" else "NULL"
    after = as_json("NEW") if action != "delete" else "NULL"
    conditions = [f"{before} IS NOT {after}"] if action == "update" else []
    if model.__name__ in AUDITED_WHERE:
        conditions.append(AUDITED_WHERE[model.__name__].format(row=row))
    when = f"WHEN {' AND '.join(conditions)}" if conditions else ""
    yield f'DROP TRIGGER IF EXISTS "keep_audit_{action}_on_{table}"'
    yield f"""
        CREATE TRIGGER "keep_audit_{action}_on_{table}" AFTER {action.upper()} ON "{table}" {when} BEGIN
        INSERT INTO hospital_auditentry (at, actor_id, came_from, request_key, action, "table", row_id,
                                         patient_id, hospital_id, before, after)
        VALUES (strftime('%Y-%m-%d %H:%M:%f', 'now'), acting_person(), acting_from(), acting_key(), '{action}',
                '{table}', {row}."{model._meta.pk.column}", {owner("patient")}, {owner("hospital")}, {before}, {after});
        END"""


_POSTGRESQL_AUDIT = """
CREATE OR REPLACE FUNCTION keep_audit() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE  -- arguments: primary key, patient column, hospital column, redacted columns joined by commas
    hidden text[] := string_to_array(TG_ARGV[3], ',');
    old_row jsonb := CASE WHEN TG_OP = 'INSERT' THEN NULL ELSE to_jsonb(OLD) END;
    new_row jsonb := CASE WHEN TG_OP = 'DELETE' THEN NULL ELSE to_jsonb(NEW) END;
    whose jsonb := coalesce(new_row, old_row);
    name text;
BEGIN
    FOREACH name IN ARRAY hidden LOOP
        old_row := CASE WHEN coalesce(old_row ->> name, '') = '' THEN old_row
                   ELSE jsonb_set(old_row, ARRAY[name], '"(private)"') END;
        new_row := CASE WHEN coalesce(new_row ->> name, '') = '' THEN new_row
                   ELSE jsonb_set(new_row, ARRAY[name], '"(private)"') END;
    END LOOP;
    IF old_row IS NOT DISTINCT FROM new_row THEN RETURN NULL; END IF;
    INSERT INTO hospital_auditentry (at, actor_id, came_from, request_key, action, "table", row_id,
                                     patient_id, hospital_id, before, after)
    VALUES (clock_timestamp(), nullif(current_setting('hospital.actor', true), '')::bigint,
            coalesce(current_setting('hospital.came_from', true), ''),
            coalesce(current_setting('hospital.request_key', true), ''),
            lower(TG_OP), TG_TABLE_NAME, whose ->> TG_ARGV[0], (whose ->> TG_ARGV[1])::bigint,
            (whose ->> TG_ARGV[2])::bigint, old_row, new_row);
    RETURN NULL;
END $$"""

_POSTGRESQL_KEEP = """
CREATE OR REPLACE FUNCTION keep_rows() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"""


def _postgresql(connection) -> Iterator[str]:
    yield _POSTGRESQL_AUDIT
    yield _POSTGRESQL_KEEP
    for model in audited_models():
        table, hidden = model._meta.db_table, ",".join(sorted(REDACTED.get(model.__name__, ())))
        arguments = [model._meta.pk.column, _owner(model, "patient") or "-", _owner(model, "hospital") or "-", hidden]
        quoted = ", ".join(f"'{a}'" for a in arguments)
        for action in ("insert", "update", "delete"):
            only = AUDITED_WHERE.get(model.__name__, "").format(row="OLD" if action == "delete" else "NEW")
            when = f"WHEN ({only}) " if only else ""
            yield f'DROP TRIGGER IF EXISTS "keep_audit_{action}" ON "{table}"'
            yield (
                f'CREATE TRIGGER "keep_audit_{action}" AFTER {action.upper()} ON "{table}" '
                f"FOR EACH ROW {when}EXECUTE FUNCTION keep_audit({quoted})"
            )
    for model in append_only_models():
        table = model._meta.db_table
        for action in ("update", "delete", "truncate"):
            level = "STATEMENT" if action == "truncate" else "ROW"
            yield f'DROP TRIGGER IF EXISTS "keep_rows_{action}" ON "{table}"'
            refuse = "keep_rows"
            if action == "delete" and model.__name__ in MAY_GO:
                refuse = f"keep_rows_of_{table}"
                yield _postgresql_may_go(refuse, MAY_GO[model.__name__])
            yield (
                f'CREATE TRIGGER "keep_rows_{action}" BEFORE {action.upper()} ON "{table}" '
                f"FOR EACH {level} EXECUTE FUNCTION {refuse}()"
            )
    for model in guarded_models():
        yield from _postgresql_guard(model)


def _postgresql_may_go(name: str, unless: str) -> str:
    return (
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN IF {unless} THEN RETURN OLD; END IF; "
        "RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
    )


def _postgresql_guard(model: type[models.Model]) -> Iterator[str]:
    """Two that write at once both see the same last line: then the unique number refuses the second."""
    table = model._meta.db_table
    refusals = " ".join(f"IF {wrong} THEN RAISE EXCEPTION '{sentence}'; END IF;" for wrong, sentence in GUARDS[model.__name__])
    yield (
        f"CREATE OR REPLACE FUNCTION keep_order_of_{table}() RETURNS trigger LANGUAGE plpgsql AS "
        f"$$ BEGIN {refusals} RETURN NEW; END $$"
    )
    yield f'DROP TRIGGER IF EXISTS "keep_order_insert" ON "{table}"'
    yield (
        f'CREATE TRIGGER "keep_order_insert" BEFORE INSERT ON "{table}" FOR EACH ROW EXECUTE FUNCTION keep_order_of_{table}()'
    )
