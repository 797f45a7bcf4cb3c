"""The wall between clubs: policies, keys, privileges, and the refusal to serve without them."""

from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.db import connection, connections, migrations

APP_ROLE = "penult_app"
BACKUP_ROLE = "penult_backup"

# NULLIF: a reused connection holds '' where a fresh one holds NULL. The sub-select is evaluated
# once a query; without it a count over 400,000 rows took four times as long.
CLUB_IN_SCOPE = "(SELECT NULLIF(current_setting('penult.club', true), '')::uuid)"


def build_wall(table: str, *, club_column: str = "club_id") -> migrations.RunSQL:
    """Let the application role see and write the rows of `table` of the club in scope only.

    ENABLE, not FORCE: with FORCE an owner's UPDATE touches nothing in silence, and dumps break.
    """
    rule = f"{club_column} = {CLUB_IN_SCOPE}"
    return migrations.RunSQL(
        sql=(
            f"ALTER TABLE {table} ENABLE ROW LEVEL SECURITY;"
            f"CREATE POLICY club_wall ON {table} TO {APP_ROLE} USING ({rule}) WITH CHECK ({rule});"
            f"CREATE POLICY backup ON {table} FOR SELECT TO {BACKUP_ROLE} USING (true);"
        ),
        reverse_sql=(
            f"DROP POLICY backup ON {table};"
            f"DROP POLICY club_wall ON {table};"
            f"ALTER TABLE {table} DISABLE ROW LEVEL SECURITY;"
        ),
    )


def key_by_club(table: str) -> migrations.RunSQL:
    """Make (club_id, id) the primary key, which serves keys within a club and partitioning.

    For a table made in the same migration: it has no rows yet, and nobody who waits.
    """
    return migrations.RunSQL(
        # A list, because the comment for the lint would be cut out of a text.
        sql=[
            "-- squawk-ignore ban-drop-constraint\n"
            f"ALTER TABLE {table} DROP CONSTRAINT {table}_pkey,"
            f" ADD CONSTRAINT {table}_pkey PRIMARY KEY (club_id, id)"
        ],
        reverse_sql=(
            f"ALTER TABLE {table} DROP CONSTRAINT {table}_pkey CASCADE,"
            f" ADD CONSTRAINT {table}_pkey PRIMARY KEY (id);"
        ),
    )


def look_across_clubs(signature: str, *, returns: str, query: str) -> migrations.RunSQL:
    """Define a function that may look into every club, and answers ids only.

    `signature` is the name with its arguments. The search path is fixed, so that nobody can slip
    another table under the function.
    """
    return migrations.RunSQL(
        sql=(
            f"CREATE FUNCTION {signature} RETURNS {returns} LANGUAGE sql STABLE SECURITY DEFINER "
            f"SET search_path = pg_catalog, public, pg_temp AS $body$ {query} $body$;"
            f"REVOKE ALL ON FUNCTION {signature} FROM PUBLIC;"
            f"GRANT EXECUTE ON FUNCTION {signature} TO {APP_ROLE};"
        ),
        reverse_sql=f"DROP FUNCTION {signature};",
    )


def grant_privileges(*, using: str) -> None:
    """Give the application and backup roles what they need on the tables that exist now.

    Runs after each migration, as owner only: default privileges are per database, so a test
    database would lack them.
    """
    with connections[using].cursor() as cursor:
        cursor.execute("SELECT current_user, current_database()")
        role, database = cursor.fetchone()
        if role == APP_ROLE:
            return
        quoted = connections[using].ops.quote_name(database)
        cursor.execute(
            f"GRANT CONNECT, TEMPORARY ON DATABASE {quoted} TO {APP_ROLE};"
            f"GRANT USAGE ON SCHEMA public TO {APP_ROLE}, {BACKUP_ROLE};"
            f"GRANT SELECT, INSERT, UPDATE, DELETE ON ALL TABLES IN SCHEMA public TO {APP_ROLE};"
            f"GRANT USAGE, SELECT ON ALL SEQUENCES IN SCHEMA public TO {APP_ROLE};"
            f"REVOKE INSERT, UPDATE, DELETE ON django_migrations FROM {APP_ROLE};"
            f"GRANT SELECT ON ALL TABLES IN SCHEMA public TO {BACKUP_ROLE};"
            f"GRANT SELECT ON ALL SEQUENCES IN SCHEMA public TO {BACKUP_ROLE};"
        )


def refuse_bypassing_role(**_kwargs: Any) -> None:
    """Refuse to serve with a role that the wall does not hold.

    Raises
    ------
    ImproperlyConfigured
        The role is a superuser, may bypass row-level security, or owns a table.
    """
    with connection.cursor() as cursor:
        cursor.execute(
            """
            SELECT role.rolname,
                   role.rolsuper OR role.rolbypassrls,
                   EXISTS (SELECT 1 FROM pg_class AS c
                            WHERE c.relkind IN ('r', 'p')
                              AND c.relnamespace = 'public'::regnamespace
                              AND pg_has_role(role.oid, c.relowner, 'USAGE'))
              FROM pg_roles AS role WHERE role.rolname = current_user
            """
        )
        name, bypasses, owns = cursor.fetchone()
    connection.close()
    if bypasses or owns:
        raise ImproperlyConfigured(
            f"The database role {name} could see every club's rows "
            f"({'it may bypass row-level security' if bypasses else 'it owns tables'}). "
            f"Serve with {APP_ROLE}; the owner's role is for migrations."
        )
