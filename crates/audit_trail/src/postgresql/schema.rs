//! The tables of a trail database and the guards that keep them append-only.
//!
//! A database holds the logs of many benches. What one row can break is guarded by the database itself, for every
//! account that is not its owner and for the owner too until he takes the guard away: numbers without a gap, identities
//! once, sizes of checkpoints only growing, no change and no removal. A guard that is gone, altered or asleep is found
//! by [`faults`]. The guards are `ENABLE ALWAYS`, so that a session that calls itself a replica meets them too.
//!
//! The names, types and meanings of the columns are the format, number [`FORMAT`]; they are those of `sqlite/schema.rs`
//! with the log in front.

use postgres::{Client, GenericClient};

/// What stands in the table `darkline.form`, so that another schema of this name is told apart.
pub(super) const APPLICATION: &str = "darkline trail";
/// The number of this form.
pub(super) const FORMAT: i64 = 1;

const TABLES: [(&str, &str, &str); 7] = [
    (
        "form",
        "only_row:smallint,application:text,format:bigint",
        "only_row smallint PRIMARY KEY CHECK (only_row = 0), application text NOT NULL, format bigint NOT NULL",
    ),
    ("log", "log:text,made_at:text", "log text PRIMARY KEY, made_at text NOT NULL"),
    (
        "device",
        "log:text,place:bigint,fingerprint:text,public_key:bytea,enrolled_at:text",
        "log text NOT NULL REFERENCES darkline.log, place bigint NOT NULL, fingerprint text NOT NULL,
         public_key bytea NOT NULL CHECK (length(public_key) = 32), enrolled_at text NOT NULL,
         PRIMARY KEY (log, place), UNIQUE (log, fingerprint)",
    ),
    (
        "entry",
        "log:text,number:bigint,id:text,person:text,at:text,bytes:bytea,leaf:bytea,subtree:bytea",
        "log text NOT NULL REFERENCES darkline.log, number bigint NOT NULL CHECK (number >= 0),
         id text NOT NULL CHECK (length(id) = 32), person text NOT NULL, at text NOT NULL, bytes bytea NOT NULL,
         leaf bytea NOT NULL CHECK (length(leaf) = 32), subtree bytea NOT NULL CHECK (length(subtree) = 32),
         PRIMARY KEY (log, number), UNIQUE (log, id)",
    ),
    (
        "checkpoint",
        "log:text,size:bigint,root:bytea,at:text,key:text,signature:bytea",
        "log text NOT NULL REFERENCES darkline.log, size bigint NOT NULL CHECK (size > 0),
         root bytea NOT NULL CHECK (length(root) = 32), at text NOT NULL, key text NOT NULL,
         signature bytea NOT NULL CHECK (length(signature) = 64), PRIMARY KEY (log, size)",
    ),
    (
        "blob",
        "digest:bytea,bytes:bytea",
        "digest bytea PRIMARY KEY, bytes bytea NOT NULL, CHECK (digest = sha256(bytes))",
    ),
    (
        "key",
        "log:text,person:text,pem:text",
        "log text NOT NULL REFERENCES darkline.log, person text NOT NULL, pem text NOT NULL, PRIMARY KEY (log, person)",
    ),
];

/// Functions of the guards: name and body. A `BEFORE` guard of a row sees the rows that the same command put in before.
const BODIES: [(&str, &str); 4] = [
    (
        "entry_follows",
        "BEGIN
  IF NEW.number IS DISTINCT FROM (SELECT coalesce(max(number) + 1, 0) FROM darkline.entry WHERE log = NEW.log) THEN
    RAISE EXCEPTION 'entries are numbered without a gap';
  END IF;
  RETURN NEW;
END",
    ),
    (
        "checkpoint_follows",
        "BEGIN
  IF NEW.size IS DISTINCT FROM (SELECT max(number) + 1 FROM darkline.entry WHERE log = NEW.log) THEN
    RAISE EXCEPTION 'a checkpoint covers all entries';
  END IF;
  RETURN NEW;
END",
    ),
    (
        "device_follows",
        "BEGIN
  IF NEW.place IS DISTINCT FROM (SELECT coalesce(max(place) + 1, 0) FROM darkline.device WHERE log = NEW.log) THEN
    RAISE EXCEPTION 'devices are enrolled one after the other';
  END IF;
  RETURN NEW;
END",
    ),
    (
        "stays",
        "BEGIN
  RAISE EXCEPTION 'rows of the table % are never changed or removed', TG_TABLE_NAME;
END",
    ),
];

// Bits of pg_trigger.tgtype: ROW 1, BEFORE 2, INSERT 4, DELETE 8, UPDATE 16, TRUNCATE 32.
const ON_INSERT: i16 = 7;
const ON_CHANGE: i16 = 27;
const ON_EMPTYING: i16 = 34;

/// The guards: table, name, when, function.
fn guards() -> Vec<(&'static str, String, i16, &'static str)> {
    let mut guards = Vec::new();
    for table in ["entry", "checkpoint", "device"] {
        let function = match table {
            "entry" => "entry_follows",
            "checkpoint" => "checkpoint_follows",
            _ => "device_follows",
        };
        guards.push((table, format!("{table}_follows"), ON_INSERT, function));
    }
    for table in ["form", "log", "device", "entry", "checkpoint", "blob"] {
        guards.push((table, format!("{table}_stays"), ON_CHANGE, "stays"));
        guards.push((table, format!("{table}_remains"), ON_EMPTYING, "stays"));
    }
    guards
}

/// Makes all tables and guards; inside the caller's transaction.
pub(super) fn make(transaction: &mut impl GenericClient) -> Result<(), postgres::Error> {
    let mut script = "CREATE SCHEMA darkline;\n".to_owned();
    for (name, _, columns) in TABLES {
        script += &format!("CREATE TABLE darkline.{name} ({columns});\n");
    }
    // Pulses and documents are packed already or short; packing them again only takes time.
    script += "ALTER TABLE darkline.blob ALTER COLUMN bytes SET STORAGE EXTERNAL;\n";
    for (name, body) in BODIES {
        script +=
            &format!("CREATE FUNCTION darkline.{name}() RETURNS trigger LANGUAGE plpgsql AS $guard${body}$guard$;\n");
    }
    for (table, name, when, function) in guards() {
        let (when, each) = match when {
            ON_INSERT => ("INSERT", "ROW"),
            ON_CHANGE => ("UPDATE OR DELETE", "ROW"),
            _ => ("TRUNCATE", "STATEMENT"),
        };
        script += &format!(
            "CREATE TRIGGER {name} BEFORE {when} ON darkline.{table} FOR EACH {each} EXECUTE FUNCTION darkline.{function}();
             ALTER TABLE darkline.{table} ENABLE ALWAYS TRIGGER {name};\n"
        );
    }
    transaction.batch_execute(&script)?;
    transaction.execute("INSERT INTO darkline.form VALUES (0, $1, $2)", &[&APPLICATION, &FORMAT])?;
    Ok(())
}

/// What stands in the table of the form, if there is one.
pub(super) fn form(client: &mut Client) -> Result<Option<(String, i64)>, postgres::Error> {
    let there: bool = client.query_one("SELECT to_regclass('darkline.form') IS NOT NULL", &[])?.get(0);
    if !there {
        return Ok(None);
    }
    let row = client.query_opt("SELECT application, format FROM darkline.form", &[])?;
    Ok(row.map(|row| (row.get(0), row.get(1))))
}

/// The tables and guards that are missing, altered or not ours, and a server that does not keep its word; one
/// sentence each.
pub(super) fn faults(client: &mut Client) -> Result<Vec<String>, postgres::Error> {
    let mut faults = Vec::new();
    if client.query_one("SHOW fsync", &[])?.get::<_, String>(0) != "on" {
        faults.push("the server runs with fsync off, so that a power cut loses what it acknowledged".to_owned());
    }
    let rows = client.query(
        "SELECT t.relname::text, string_agg(a.attname || ':' || format_type(a.atttypid, a.atttypmod), ',' ORDER BY a.attnum)
         FROM pg_class t JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum > 0 AND NOT a.attisdropped
         WHERE t.relnamespace = 'darkline'::regnamespace AND t.relkind NOT IN ('i', 'I', 't', 'c')
         GROUP BY t.relname ORDER BY 1",
        &[],
    )?;
    let found: Vec<(String, String)> = rows.iter().map(|row| (row.get(0), row.get(1))).collect();
    for (name, columns, _) in TABLES {
        match found.iter().find(|(table, _)| table == name) {
            None => faults.push(format!("the table {name} is missing")),
            Some((_, other)) if other != columns => faults.push(format!("the table {name} was altered")),
            Some(_) => {}
        }
    }
    for (name, _) in found.iter().filter(|(name, _)| !TABLES.iter().any(|(table, ..)| table == name)) {
        faults.push(format!("the table {name} does not belong to a trail"));
    }
    let rows = client.query(
        "SELECT c.relname::text, g.tgname::text, g.tgtype, f.proname::text, f.prosrc, g.tgenabled = 'A' AND g.tgqual IS NULL
         FROM pg_trigger g JOIN pg_class c ON c.oid = g.tgrelid JOIN pg_proc f ON f.oid = g.tgfoid
         WHERE c.relnamespace = 'darkline'::regnamespace AND NOT g.tgisinternal ORDER BY 2",
        &[],
    )?;
    let found: Vec<(String, String)> = rows.iter().map(|row| (row.get(0), row.get(1))).collect();
    for (table, name, when, function) in guards() {
        let body = BODIES.iter().find(|(body, _)| *body == function).map_or("", |(_, body)| body);
        match found.iter().position(|(on, guard)| on == table && *guard == name) {
            None => faults.push(format!("the guard {name} is missing")),
            Some(place) => {
                let row = &rows[place];
                let same = row.get::<_, i16>(2) == when
                    && row.get::<_, String>(3) == function
                    && row.get::<_, String>(4) == body
                    && row.get::<_, bool>(5);
                if !same {
                    faults.push(format!("the guard {name} was altered"));
                }
            }
        }
    }
    let ours = guards();
    for (_, name) in
        found.iter().filter(|(on, name)| !ours.iter().any(|(table, guard, ..)| table == on && guard == name))
    {
        faults.push(format!("the guard {name} does not belong to a trail"));
    }
    let rows = client.query(
        "SELECT r.rulename::text FROM pg_rewrite r JOIN pg_class c ON c.oid = r.ev_class
         WHERE c.relnamespace = 'darkline'::regnamespace AND c.relkind = 'r' ORDER BY 1",
        &[],
    )?;
    faults.extend(rows.iter().map(|row| format!("the rule {} does not belong to a trail", row.get::<_, String>(0))));
    let rows = client.query(
        "SELECT c.relname::text || ' ' || string_agg(k.contype::text, '' ORDER BY k.contype)
         FROM pg_constraint k JOIN pg_class c ON c.oid = k.conrelid
         WHERE k.connamespace = 'darkline'::regnamespace AND k.contype IN ('p', 'u', 'c', 'f') AND k.convalidated
         GROUP BY c.relname ORDER BY 1",
        &[],
    )?;
    let found: Vec<String> = rows.iter().map(|row| row.get(0)).collect();
    // How many checks, references, primary keys and unique columns each table has.
    for wanted in ["blob cp", "checkpoint cccfp", "device cfpu", "entry ccccfpu", "form cp", "key fp", "log p"] {
        if !found.iter().any(|found| found == wanted) {
            let table = wanted.split(' ').next().unwrap_or_default();
            faults.push(format!("the conditions of the table {table} were altered"));
        }
    }
    Ok(faults)
}
