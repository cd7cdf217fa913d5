"""Make the first tables.

Rule: code of the version before must go on working against the new form; drop or
rename a column only when no released code reads it any more.
"""

import sqlalchemy as sa
from alembic import op

from inbox.records.base import Document, Moment

revision = "20261125_first_tables"
down_revision = None
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "accounts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("role", sa.String(), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=True),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("closed_at", Moment(), nullable=True),
        sa.CheckConstraint("role IN ('owner', 'helper')", name=op.f("ck_accounts_role_known")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_accounts")),
        sa.UniqueConstraint("name", name=op.f("uq_accounts_name")),
    )
    op.create_table(
        "attempts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("door", sa.String(), nullable=False),
        sa.Column("sender_hash", sa.String(), nullable=False),
        sa.Column("tried_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_attempts")),
    )
    with op.batch_alter_table("attempts", schema=None) as batch_op:
        batch_op.create_index("ix_attempts_sender", ["door", "sender_hash", "tried_at"], unique=False)

    op.create_table(
        "columns",
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("mapping", Document, nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("source", name=op.f("pk_columns")),
    )
    op.create_table(
        "digests",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("week", sa.String(), nullable=False),
        sa.Column("built_at", Moment(), nullable=False),
        sa.Column("document", Document, nullable=False),
        sa.Column("mailed_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_digests")),
        sa.UniqueConstraint("week", name=op.f("uq_digests_week")),
    )
    op.create_table(
        "intake_runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("door", sa.String(), nullable=False),
        sa.Column("source", sa.String(), nullable=False),
        sa.Column("digest", sa.String(), nullable=True),
        sa.Column("started_at", Moment(), nullable=False),
        sa.Column("finished_at", Moment(), nullable=True),
        sa.Column("taken_back_at", Moment(), nullable=True),
        sa.Column("position", sa.Integer(), nullable=False),
        sa.Column("stored_count", sa.Integer(), nullable=False),
        sa.Column("already_here_count", sa.Integer(), nullable=False),
        sa.Column("set_aside_count", sa.Integer(), nullable=False),
        sa.Column("kept_apart_count", sa.Integer(), nullable=False),
        sa.CheckConstraint(
            "door IN ('form', 'mail', 'table', 'jsonl', 'feed', 'mailbox', 'mention', 'recipes')",
            name=op.f("ck_intake_runs_door_known"),
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_intake_runs")),
    )
    with op.batch_alter_table("intake_runs", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_intake_runs_digest"), ["digest"], unique=False)

    op.create_table(
        "job_runs",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("job", sa.String(), nullable=False),
        sa.Column("period", sa.String(), nullable=False),
        sa.Column("claimed_by", sa.String(), nullable=False),
        sa.Column("started_at", Moment(), nullable=False),
        sa.Column("finished_at", Moment(), nullable=True),
        sa.Column("trouble", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_runs")),
        sa.UniqueConstraint("job", "period", name=op.f("uq_job_runs_job_period")),
    )
    op.create_table(
        "long_work",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("arguments", Document, nullable=False),
        sa.Column("upload", sa.LargeBinary(), nullable=True),
        sa.Column("asked_at", Moment(), nullable=False),
        sa.Column("started_at", Moment(), nullable=True),
        sa.Column("seen_alive_at", Moment(), nullable=True),
        sa.Column("finished_at", Moment(), nullable=True),
        sa.Column("stop_asked_at", Moment(), nullable=True),
        sa.Column("done_count", sa.Integer(), nullable=False),
        sa.Column("of_count", sa.Integer(), nullable=True),
        sa.Column("result", sa.String(), nullable=True),
        sa.Column("trouble", sa.String(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_long_work")),
    )
    op.create_table(
        "phrases",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_phrases")),
        sa.UniqueConstraint("name", name=op.f("uq_phrases_name")),
    )
    op.create_table(
        "readers",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("email", sa.String(), nullable=True),
        sa.Column("channel", sa.String(), nullable=True),
        sa.Column("handle", sa.String(), nullable=True),
        sa.Column("name", sa.String(), nullable=True),
        sa.Column("first_seen_at", Moment(), nullable=False),
        sa.Column("bounced_at", Moment(), nullable=True),
        sa.Column("unsubscribed_at", Moment(), nullable=True),
        sa.Column("forgotten_at", Moment(), nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_readers")),
        sa.UniqueConstraint("channel", "handle", name=op.f("uq_readers_channel_handle")),
        sa.UniqueConstraint("email", name=op.f("uq_readers_email")),
    )
    op.create_table(
        "recipes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("slug", sa.String(), nullable=False),
        sa.Column("title", sa.String(), nullable=False),
        sa.Column("url", sa.String(), nullable=True),
        sa.Column("published_on", sa.Date(), nullable=True),
        sa.Column("ingredients", Document, nullable=False),
        sa.Column("steps", Document, nullable=False),
        sa.Column("tags", Document, nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_recipes")),
        sa.UniqueConstraint("slug", name=op.f("uq_recipes_slug")),
    )
    op.create_table(
        "saved_settings",
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.PrimaryKeyConstraint("name", name=op.f("pk_saved_settings")),
    )
    op.create_table(
        "mended",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("what", sa.String(), nullable=False),
        sa.Column("note", sa.String(), nullable=True),
        sa.Column("mended_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["recipe_id"], ["recipes.id"], name=op.f("fk_mended_recipe_id_recipes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_mended")),
    )
    with op.batch_alter_table("mended", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_mended_recipe_id"), ["recipe_id"], unique=False)

    op.create_table(
        "messages",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("door", sa.String(), nullable=False),
        sa.Column("channel", sa.String(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("reader_id", sa.Integer(), nullable=True),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("stored_at", Moment(), nullable=False),
        sa.Column("subject", sa.String(), nullable=True),
        sa.Column("text", sa.String(), nullable=False),
        sa.Column("page_recipe_id", sa.Integer(), nullable=True),
        sa.Column("page_url", sa.String(), nullable=True),
        sa.Column("links", Document, nullable=False),
        sa.Column("stars", sa.Double(), nullable=True),
        sa.Column("thumbs_up_count", sa.Integer(), nullable=False),
        sa.Column("form", sa.String(), nullable=True),
        sa.Column("rfc_message_id", sa.String(), nullable=True),
        sa.Column("in_reply_to", sa.String(), nullable=True),
        sa.Column("references", Document, nullable=False),
        sa.Column("answers_message_id", sa.Integer(), nullable=True),
        sa.Column("kept_apart", sa.String(), nullable=True),
        sa.Column("doubtful_twin_id", sa.Integer(), nullable=True),
        sa.Column("reply_wanted", sa.Boolean(), nullable=False),
        sa.Column("may_quote", sa.Boolean(), nullable=False),
        sa.Column("tell_me", sa.Boolean(), nullable=False),
        sa.Column("consent", Document, nullable=True),
        sa.Column("attachments", Document, nullable=False),
        sa.Column("no_reply_needed_at", Moment(), nullable=True),
        sa.CheckConstraint(
            "channel IN ('form', 'email', 'comment', 'social')", name=op.f("ck_messages_channel_known")
        ),
        sa.CheckConstraint(
            "door IN ('form', 'mail', 'table', 'jsonl', 'feed', 'mailbox', 'mention')",
            name=op.f("ck_messages_door_known"),
        ),
        sa.CheckConstraint(
            "kept_apart IN ('auto_reply', 'bounce', 'list_mail', 'calendar', 'newsletter', 'own_mail', 'robot', 'double')",
            name=op.f("ck_messages_kept_apart_known"),
        ),
        sa.ForeignKeyConstraint(
            ["answers_message_id"], ["messages.id"], name=op.f("fk_messages_answers_message_id_messages")
        ),
        sa.ForeignKeyConstraint(
            ["doubtful_twin_id"], ["messages.id"], name=op.f("fk_messages_doubtful_twin_id_messages")
        ),
        sa.ForeignKeyConstraint(
            ["page_recipe_id"], ["recipes.id"], name=op.f("fk_messages_page_recipe_id_recipes")
        ),
        sa.ForeignKeyConstraint(["reader_id"], ["readers.id"], name=op.f("fk_messages_reader_id_readers")),
        sa.ForeignKeyConstraint(["run_id"], ["intake_runs.id"], name=op.f("fk_messages_run_id_intake_runs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_messages")),
        sa.UniqueConstraint("key", name=op.f("uq_messages_key")),
    )
    with op.batch_alter_table("messages", schema=None) as batch_op:
        batch_op.create_index(
            batch_op.f("ix_messages_answers_message_id"), ["answers_message_id"], unique=False
        )
        batch_op.create_index(batch_op.f("ix_messages_doubtful_twin_id"), ["doubtful_twin_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_fingerprint"), ["fingerprint"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_page_recipe_id"), ["page_recipe_id"], unique=False)
        batch_op.create_index("ix_messages_position", ["received_at", "id"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_reader_id"), ["reader_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_received_at"), ["received_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_rfc_message_id"), ["rfc_message_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_messages_run_id"), ["run_id"], unique=False)

    op.create_table(
        "recipe_standings",
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("judged_at", Moment(), nullable=False),
        sa.Column("standing", sa.String(), nullable=False),
        sa.Column("share", sa.Double(), nullable=False),
        sa.Column("low", sa.Double(), nullable=False),
        sa.Column("high", sa.Double(), nullable=False),
        sa.Column("reader_count", sa.Integer(), nullable=False),
        sa.Column("failed_count", sa.Double(), nullable=False),
        sa.Column("in_words", sa.String(), nullable=False),
        sa.Column("details", Document, nullable=False),
        sa.CheckConstraint(
            "standing IN ('failing', 'watch', 'holding_up', 'too_few_reports')",
            name=op.f("ck_recipe_standings_standing_known"),
        ),
        sa.ForeignKeyConstraint(
            ["recipe_id"],
            ["recipes.id"],
            name=op.f("fk_recipe_standings_recipe_id_recipes"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("recipe_id", name=op.f("pk_recipe_standings")),
    )
    with op.batch_alter_table("recipe_standings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_recipe_standings_standing"), ["standing"], unique=False)

    op.create_table(
        "revisions",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=False),
        sa.Column("made_at", Moment(), nullable=False),
        sa.Column("note", sa.String(), nullable=False),
        sa.Column("noticed", sa.Boolean(), nullable=False),
        sa.Column("before", Document, nullable=True),
        sa.ForeignKeyConstraint(
            ["recipe_id"], ["recipes.id"], name=op.f("fk_revisions_recipe_id_recipes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_revisions")),
    )
    with op.batch_alter_table("revisions", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_revisions_recipe_id"), ["recipe_id"], unique=False)

    op.create_table(
        "set_aside",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("run_id", sa.Integer(), nullable=True),
        sa.Column("door", sa.String(), nullable=False),
        sa.Column("place", sa.String(), nullable=False),
        sa.Column("reason", sa.String(), nullable=False),
        sa.Column("fingerprint", sa.String(), nullable=False),
        sa.Column("raw", sa.LargeBinary(), nullable=False),
        sa.Column("details", Document, nullable=True),
        sa.Column("set_aside_at", Moment(), nullable=False),
        sa.Column("left_out_at", Moment(), nullable=True),
        sa.Column("taken_in_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(["run_id"], ["intake_runs.id"], name=op.f("fk_set_aside_run_id_intake_runs")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_set_aside")),
        sa.UniqueConstraint("fingerprint", name=op.f("uq_set_aside_fingerprint")),
    )
    with op.batch_alter_table("set_aside", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_set_aside_run_id"), ["run_id"], unique=False)

    op.create_table(
        "sign_ins",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("token_hash", sa.String(), nullable=False),
        sa.Column("once", sa.Boolean(), nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("seen_at", Moment(), nullable=False),
        sa.Column("ends_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_sign_ins_account_id_accounts"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_sign_ins")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_sign_ins_token_hash")),
    )
    with op.batch_alter_table("sign_ins", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_sign_ins_account_id"), ["account_id"], unique=False)

    op.create_table(
        "themes",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(), nullable=False),
        sa.Column("named_by_hand", sa.Boolean(), nullable=False),
        sa.Column("facets", Document, nullable=False),
        sa.Column("shelf", sa.String(), nullable=False),
        sa.Column("shelf_reason", sa.String(), nullable=True),
        sa.Column("shelf_at", Moment(), nullable=True),
        sa.Column("bench_due_on", sa.Date(), nullable=True),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("effort", sa.Double(), nullable=True),
        sa.Column("occasion", sa.String(), nullable=True),
        sa.Column("coverage", sa.Double(), nullable=False),
        sa.Column("covered_by_id", sa.Integer(), nullable=True),
        sa.Column("coverage_why", sa.String(), nullable=True),
        sa.Column("merged_into_id", sa.Integer(), nullable=True),
        sa.Column("created_at", Moment(), nullable=False),
        sa.CheckConstraint(
            "shelf IN ('open', 'on_the_bench', 'published', 'passed_over')",
            name=op.f("ck_themes_shelf_known"),
        ),
        sa.ForeignKeyConstraint(
            ["covered_by_id"], ["recipes.id"], name=op.f("fk_themes_covered_by_id_recipes")
        ),
        sa.ForeignKeyConstraint(
            ["merged_into_id"], ["themes.id"], name=op.f("fk_themes_merged_into_id_themes")
        ),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_themes_recipe_id_recipes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_themes")),
    )
    with op.batch_alter_table("themes", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_themes_shelf"), ["shelf"], unique=False)

    op.create_table(
        "alerts",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("words", sa.String(), nullable=False),
        sa.Column("raised_at", Moment(), nullable=False),
        sa.Column("mailed_at", Moment(), nullable=True),
        sa.Column("dealt_with_at", Moment(), nullable=True),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_alerts_message_id_messages"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_alerts_recipe_id_recipes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_alerts")),
        sa.UniqueConstraint("subject", name=op.f("uq_alerts_subject")),
    )
    op.create_table(
        "hand_labels",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("field", sa.String(), nullable=False),
        sa.Column("value", Document, nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=True),
        sa.Column("labelled_at", Moment(), nullable=False),
        sa.Column("from_random_sample", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "field IN ('kinds', 'outcome', 'faults', 'hazard', 'recipe', 'language')",
            name=op.f("ck_hand_labels_field_known"),
        ),
        sa.ForeignKeyConstraint(
            ["account_id"], ["accounts.id"], name=op.f("fk_hand_labels_account_id_accounts")
        ),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_hand_labels_message_id_messages"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hand_labels")),
        sa.UniqueConstraint("message_id", "field", name=op.f("uq_hand_labels_message_id_field")),
    )
    with op.batch_alter_table("hand_labels", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_hand_labels_message_id"), ["message_id"], unique=False)

    op.create_table(
        "labels",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("received_at", Moment(), nullable=False),
        sa.Column("is_made_it", sa.Boolean(), nullable=False),
        sa.Column("is_problem", sa.Boolean(), nullable=False),
        sa.Column("is_request", sa.Boolean(), nullable=False),
        sa.Column("is_question", sa.Boolean(), nullable=False),
        sa.Column("is_comment", sa.Boolean(), nullable=False),
        sa.Column("is_junk", sa.Boolean(), nullable=False),
        sa.Column("outcome", sa.String(), nullable=True),
        sa.Column("failed_probability", sa.Double(), nullable=False),
        sa.Column("problem_probability", sa.Double(), nullable=False),
        sa.Column("hazard", sa.String(), nullable=True),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("language", sa.String(), nullable=False),
        sa.Column("least_sure", sa.Double(), nullable=False),
        sa.Column("by_hand", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "hazard IN ('allergen', 'illness', 'injury', 'undercooked_risk', 'preserving_risk', 'foreign_object', 'pet')",
            name=op.f("ck_labels_hazard_known"),
        ),
        sa.CheckConstraint("outcome IN ('worked', 'mixed', 'failed')", name=op.f("ck_labels_outcome_known")),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_labels_message_id_messages"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_labels_recipe_id_recipes")),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_labels")),
    )
    with op.batch_alter_table("labels", schema=None) as batch_op:
        batch_op.create_index("ix_labels_comment", ["is_comment", "received_at", "message_id"], unique=False)
        batch_op.create_index("ix_labels_hazard", ["hazard", "received_at"], unique=False)
        batch_op.create_index("ix_labels_junk", ["is_junk", "received_at", "message_id"], unique=False)
        batch_op.create_index("ix_labels_least_sure", ["least_sure"], unique=False)
        batch_op.create_index("ix_labels_made_it", ["is_made_it", "received_at", "message_id"], unique=False)
        batch_op.create_index("ix_labels_problem", ["is_problem", "received_at", "message_id"], unique=False)
        batch_op.create_index(
            "ix_labels_question", ["is_question", "received_at", "message_id"], unique=False
        )
        batch_op.create_index("ix_labels_recipe", ["recipe_id", "received_at"], unique=False)
        batch_op.create_index("ix_labels_request", ["is_request", "received_at", "message_id"], unique=False)

    op.create_table(
        "photos",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("jpeg", sa.LargeBinary(), nullable=False),
        sa.Column("thumbnail", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_photos_message_id_messages"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_photos")),
    )
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_photos_message_id"), ["message_id"], unique=False)

    op.create_table(
        "raw_items",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("media_type", sa.String(), nullable=False),
        sa.Column("packed", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_raw_items_message_id_messages"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_raw_items")),
    )
    op.create_table(
        "readings",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("model_version", sa.String(), nullable=False),
        sa.Column("read_at", Moment(), nullable=False),
        sa.Column("kind_probabilities", Document, nullable=False),
        sa.Column("kinds", Document, nullable=False),
        sa.Column("outcome_probabilities", Document, nullable=False),
        sa.Column("outcome", sa.String(), nullable=True),
        sa.Column("fault_probabilities", Document, nullable=False),
        sa.Column("faults", Document, nullable=False),
        sa.Column("hazard", sa.String(), nullable=True),
        sa.Column("hazard_probability", sa.Double(), nullable=True),
        sa.Column("hazard_words", Document, nullable=False),
        sa.Column("recipe_id", sa.Integer(), nullable=True),
        sa.Column("recipe_confidence", sa.Double(), nullable=False),
        sa.Column("recipe_also", Document, nullable=False),
        sa.Column("recipe_why", sa.String(), nullable=False),
        sa.Column("wants", sa.String(), nullable=True),
        sa.Column("language", sa.String(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"], ["messages.id"], name=op.f("fk_readings_message_id_messages"), ondelete="CASCADE"
        ),
        sa.ForeignKeyConstraint(["recipe_id"], ["recipes.id"], name=op.f("fk_readings_recipe_id_recipes")),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_readings_model_version"), ["model_version"], unique=False)

    op.create_table(
        "tellings",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("theme_id", sa.Integer(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("written_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(["theme_id"], ["themes.id"], name=op.f("fk_tellings_theme_id_themes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tellings")),
        sa.UniqueConstraint("theme_id", name=op.f("uq_tellings_theme_id")),
    )
    op.create_table(
        "theme_members",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("theme_id", sa.Integer(), nullable=False),
        sa.Column("by_hand", sa.Boolean(), nullable=False),
        sa.Column("similarity", sa.Double(), nullable=False),
        sa.Column("doubtful", sa.Boolean(), nullable=False),
        sa.Column("typical_rank", sa.Integer(), nullable=True),
        sa.Column("joined_at", Moment(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_theme_members_message_id_messages"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["theme_id"], ["themes.id"], name=op.f("fk_theme_members_theme_id_themes")),
        sa.PrimaryKeyConstraint("message_id", name=op.f("pk_theme_members")),
    )
    with op.batch_alter_table("theme_members", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_theme_members_theme_id"), ["theme_id"], unique=False)

    op.create_table(
        "theme_ranks",
        sa.Column("theme_id", sa.Integer(), nullable=False),
        sa.Column("ranked_at", Moment(), nullable=False),
        sa.Column("place", sa.Integer(), nullable=False),
        sa.Column("score", sa.Double(), nullable=False),
        sa.Column("reader_count", sa.Integer(), nullable=False),
        sa.Column("in_words", sa.String(), nullable=False),
        sa.Column("details", Document, nullable=False),
        sa.ForeignKeyConstraint(
            ["theme_id"], ["themes.id"], name=op.f("fk_theme_ranks_theme_id_themes"), ondelete="CASCADE"
        ),
        sa.PrimaryKeyConstraint("theme_id", name=op.f("pk_theme_ranks")),
    )
    with op.batch_alter_table("theme_ranks", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_theme_ranks_place"), ["place"], unique=False)

    op.create_table(
        "theme_refusals",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("theme_id", sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["messages.id"],
            name=op.f("fk_theme_refusals_message_id_messages"),
            ondelete="CASCADE",
        ),
        sa.ForeignKeyConstraint(["theme_id"], ["themes.id"], name=op.f("fk_theme_refusals_theme_id_themes")),
        sa.PrimaryKeyConstraint("message_id", "theme_id", name=op.f("pk_theme_refusals")),
    )
    op.create_table(
        "themes_apart",
        sa.Column("theme_id", sa.Integer(), nullable=False),
        sa.Column("other_id", sa.Integer(), nullable=False),
        sa.CheckConstraint("theme_id < other_id", name=op.f("ck_themes_apart_in_order")),
        sa.ForeignKeyConstraint(["other_id"], ["themes.id"], name=op.f("fk_themes_apart_other_id_themes")),
        sa.ForeignKeyConstraint(["theme_id"], ["themes.id"], name=op.f("fk_themes_apart_theme_id_themes")),
        sa.PrimaryKeyConstraint("theme_id", "other_id", name=op.f("pk_themes_apart")),
    )
    op.create_table(
        "message_faults",
        sa.Column("message_id", sa.Integer(), nullable=False),
        sa.Column("fault", sa.String(), nullable=False),
        sa.Column("probability", sa.Double(), nullable=False),
        sa.ForeignKeyConstraint(
            ["message_id"],
            ["labels.message_id"],
            name=op.f("fk_message_faults_message_id_labels"),
            ondelete="CASCADE",
        ),
        sa.PrimaryKeyConstraint("message_id", "fault", name=op.f("pk_message_faults")),
    )
    with op.batch_alter_table("message_faults", schema=None) as batch_op:
        batch_op.create_index(batch_op.f("ix_message_faults_fault"), ["fault"], unique=False)

    op.create_table(
        "replies",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("message_id", sa.Integer(), nullable=True),
        sa.Column("reader_id", sa.Integer(), nullable=True),
        sa.Column("telling_id", sa.Integer(), nullable=True),
        sa.Column("state", sa.String(), nullable=False),
        sa.Column("to_address", sa.String(), nullable=True),
        sa.Column("subject", sa.String(), nullable=False),
        sa.Column("body", sa.String(), nullable=False),
        sa.Column("rfc_message_id", sa.String(), nullable=True),
        sa.Column("in_reply_to", sa.String(), nullable=True),
        sa.Column("references", Document, nullable=False),
        sa.Column("created_at", Moment(), nullable=False),
        sa.Column("changed_at", Moment(), nullable=False),
        sa.Column("pressed_at", Moment(), nullable=True),
        sa.Column("pressed_by_id", sa.Integer(), nullable=True),
        sa.Column("leaves_at", Moment(), nullable=True),
        sa.Column("sent_at", Moment(), nullable=True),
        sa.Column("came_back_at", Moment(), nullable=True),
        sa.Column("trouble", sa.String(), nullable=True),
        sa.CheckConstraint(
            "state IN ('draft', 'waiting', 'sending', 'sent', 'came_back', 'by_hand')",
            name=op.f("ck_replies_state_known"),
        ),
        sa.ForeignKeyConstraint(["message_id"], ["messages.id"], name=op.f("fk_replies_message_id_messages")),
        sa.ForeignKeyConstraint(
            ["pressed_by_id"], ["accounts.id"], name=op.f("fk_replies_pressed_by_id_accounts")
        ),
        sa.ForeignKeyConstraint(["reader_id"], ["readers.id"], name=op.f("fk_replies_reader_id_readers")),
        sa.ForeignKeyConstraint(["telling_id"], ["tellings.id"], name=op.f("fk_replies_telling_id_tellings")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_replies")),
        sa.UniqueConstraint("rfc_message_id", name=op.f("uq_replies_rfc_message_id")),
        sa.UniqueConstraint("telling_id", "reader_id", name=op.f("uq_replies_telling_id_reader_id")),
    )
    with op.batch_alter_table("replies", schema=None) as batch_op:
        batch_op.create_index("ix_replies_leaving", ["state", "leaves_at"], unique=False)
        batch_op.create_index(batch_op.f("ix_replies_message_id"), ["message_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_replies_reader_id"), ["reader_id"], unique=False)
        batch_op.create_index(batch_op.f("ix_replies_state"), ["state"], unique=False)
        batch_op.create_index(batch_op.f("ix_replies_telling_id"), ["telling_id"], unique=False)


def downgrade() -> None:
    with op.batch_alter_table("replies", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_replies_telling_id"))
        batch_op.drop_index(batch_op.f("ix_replies_state"))
        batch_op.drop_index(batch_op.f("ix_replies_reader_id"))
        batch_op.drop_index(batch_op.f("ix_replies_message_id"))
        batch_op.drop_index("ix_replies_leaving")

    op.drop_table("replies")
    with op.batch_alter_table("message_faults", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_message_faults_fault"))

    op.drop_table("message_faults")
    op.drop_table("themes_apart")
    op.drop_table("theme_refusals")
    with op.batch_alter_table("theme_ranks", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_theme_ranks_place"))

    op.drop_table("theme_ranks")
    with op.batch_alter_table("theme_members", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_theme_members_theme_id"))

    op.drop_table("theme_members")
    op.drop_table("tellings")
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_readings_model_version"))

    op.drop_table("readings")
    op.drop_table("raw_items")
    with op.batch_alter_table("photos", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_photos_message_id"))

    op.drop_table("photos")
    with op.batch_alter_table("labels", schema=None) as batch_op:
        batch_op.drop_index("ix_labels_request")
        batch_op.drop_index("ix_labels_recipe")
        batch_op.drop_index("ix_labels_question")
        batch_op.drop_index("ix_labels_problem")
        batch_op.drop_index("ix_labels_made_it")
        batch_op.drop_index("ix_labels_least_sure")
        batch_op.drop_index("ix_labels_junk")
        batch_op.drop_index("ix_labels_hazard")
        batch_op.drop_index("ix_labels_comment")

    op.drop_table("labels")
    with op.batch_alter_table("hand_labels", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_hand_labels_message_id"))

    op.drop_table("hand_labels")
    op.drop_table("alerts")
    with op.batch_alter_table("themes", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_themes_shelf"))

    op.drop_table("themes")
    with op.batch_alter_table("sign_ins", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_sign_ins_account_id"))

    op.drop_table("sign_ins")
    with op.batch_alter_table("set_aside", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_set_aside_run_id"))

    op.drop_table("set_aside")
    with op.batch_alter_table("revisions", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_revisions_recipe_id"))

    op.drop_table("revisions")
    with op.batch_alter_table("recipe_standings", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_recipe_standings_standing"))

    op.drop_table("recipe_standings")
    with op.batch_alter_table("messages", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_messages_run_id"))
        batch_op.drop_index(batch_op.f("ix_messages_rfc_message_id"))
        batch_op.drop_index(batch_op.f("ix_messages_received_at"))
        batch_op.drop_index(batch_op.f("ix_messages_reader_id"))
        batch_op.drop_index("ix_messages_position")
        batch_op.drop_index(batch_op.f("ix_messages_page_recipe_id"))
        batch_op.drop_index(batch_op.f("ix_messages_fingerprint"))
        batch_op.drop_index(batch_op.f("ix_messages_doubtful_twin_id"))
        batch_op.drop_index(batch_op.f("ix_messages_answers_message_id"))

    op.drop_table("messages")
    with op.batch_alter_table("mended", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_mended_recipe_id"))

    op.drop_table("mended")
    op.drop_table("saved_settings")
    op.drop_table("recipes")
    op.drop_table("readers")
    op.drop_table("phrases")
    op.drop_table("long_work")
    op.drop_table("job_runs")
    with op.batch_alter_table("intake_runs", schema=None) as batch_op:
        batch_op.drop_index(batch_op.f("ix_intake_runs_digest"))

    op.drop_table("intake_runs")
    op.drop_table("digests")
    op.drop_table("columns")
    with op.batch_alter_table("attempts", schema=None) as batch_op:
        batch_op.drop_index("ix_attempts_sender")

    op.drop_table("attempts")
    op.drop_table("accounts")
