//! The tables as both databases have them. A test compares this with what the migrations make.

diesel::table! {
    shop (id) {
        id -> Text,
        name -> Text,
        time_zone -> Text,
        language -> Text,
        settings -> Text,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    person (shop, id) {
        shop -> Text,
        id -> Text,
        name -> Text,
        email -> Text,
        role -> Text,
        password_hash -> Nullable<Text>,
        skills -> Text,
        trainee -> Bool,
        hours -> Text,
        home_van -> Nullable<Text>,
        days_off -> Text,
        disabled_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    login (shop, id) {
        shop -> Text,
        id -> Text,
        person -> Text,
        created_at -> Timestamp,
        expires_at -> Timestamp,
        revoked_at -> Nullable<Timestamp>,
        seen_at -> Nullable<Timestamp>,
        address -> Nullable<Text>,
        client -> Nullable<Text>,
    }
}

diesel::table! {
    refresh_token (shop, hash) {
        shop -> Text,
        hash -> Text,
        login -> Text,
        used_at -> Nullable<Timestamp>,
        successor -> Nullable<Text>,
        created_at -> Timestamp,
    }
}

diesel::table! {
    partner_app (shop, id) {
        shop -> Text,
        id -> Text,
        name -> Text,
        secret_hash -> Text,
        next_secret_hash -> Nullable<Text>,
        scopes -> Text,
        disabled_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
        customers -> Nullable<Text>,
    }
}

diesel::table! {
    signing_key (number) {
        number -> Integer,
        kid -> Text,
        pkcs8 -> Text,
        created_at -> Timestamp,
        signs_from -> Nullable<Timestamp>,
    }
}

diesel::table! {
    revoked_token (shop, id) {
        shop -> Text,
        id -> Text,
        expires_at -> Timestamp,
    }
}

diesel::table! {
    login_failure (shop, source) {
        shop -> Text,
        source -> Text,
        failures -> Integer,
        last_at -> Timestamp,
    }
}

diesel::table! {
    customer (shop, id) {
        shop -> Text,
        id -> Text,
        name -> Text,
        email -> Nullable<Text>,
        phone -> Nullable<Text>,
        language -> Nullable<Text>,
        time_zone -> Nullable<Text>,
        site -> Text,
        note -> Nullable<Text>,
        complaint_open -> Bool,
        preferred_months -> Text,
        snoozed_until_on -> Nullable<Date>,
        rev -> Integer,
        created_at -> Timestamp,
        erased_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    consent (shop, customer, id) {
        shop -> Text,
        customer -> Text,
        id -> Text,
        channel -> Text,
        purpose -> Text,
        given -> Bool,
        source -> Text,
        at -> Timestamp,
        told_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    vehicle (shop, id) {
        shop -> Text,
        id -> Text,
        customer -> Text,
        label -> Text,
        registration -> Nullable<Text>,
        vin -> Nullable<Text>,
        document -> Text,
        sold_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    van (shop, id) {
        shop -> Text,
        id -> Text,
        name -> Text,
        kit -> Text,
        seats -> Integer,
        out_on -> Text,
        home -> Nullable<Text>,
        retired_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    job (shop, id) {
        shop -> Text,
        id -> Text,
        customer -> Text,
        vehicle -> Text,
        package -> Text,
        options -> Text,
        window_from -> Timestamp,
        window_to -> Timestamp,
        status -> Text,
        van -> Nullable<Text>,
        start_at -> Nullable<Timestamp>,
        booked_grade -> Integer,
        note -> Nullable<Text>,
        finished_at -> Nullable<Timestamp>,
        grades_after -> Nullable<Text>,
        rev -> Integer,
        created_at -> Timestamp,
        rework_of -> Nullable<Text>,
        priority -> Integer,
        links -> Text,
        started_plan -> Nullable<Integer>,
        finish_recorded_by -> Nullable<Text>,
        finish_recorded_at -> Nullable<Timestamp>,
        other_windows -> Text,
        set_out_at -> Nullable<Timestamp>,
        arrives_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    job_technician (shop, job, person) {
        shop -> Text,
        job -> Text,
        person -> Text,
    }
}

diesel::table! {
    inspection (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        document -> Text,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    plan (shop, job, version) {
        shop -> Text,
        job -> Text,
        version -> Integer,
        handbook -> Text,
        format -> Integer,
        document -> Text,
        made_at -> Timestamp,
        facts -> Nullable<Text>,
    }
}

diesel::table! {
    step_record (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        step -> Text,
        technician -> Text,
        started_at -> Timestamp,
        minutes -> Double,
        loops -> Integer,
        water_l -> Double,
        product -> Text,
        panel_c -> Nullable<Double>,
        outcome -> Text,
        note -> Nullable<Text>,
        recorded_at -> Timestamp,
        norm_minutes -> Nullable<Double>,
        norm_grade -> Nullable<Integer>,
        worked_on -> Date,
        planned_minutes -> Nullable<Double>,
        recorded_by -> Nullable<Text>,
        counted_ms -> BigInt,
        sound -> Bool,
        flaws -> Nullable<Text>,
        rev -> Integer,
        van -> Nullable<Text>,
    }
}

diesel::table! {
    step_change (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        record -> Text,
        kind -> Text,
        reason -> Text,
        before -> Text,
        after -> Nullable<Text>,
        worked_on -> Date,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    arrival (shop, job) {
        shop -> Text,
        job -> Text,
        arrived_at -> Timestamp,
        travel_min -> Nullable<Double>,
        travel_km -> Nullable<Double>,
        no_show -> Bool,
        waited_min -> Nullable<Double>,
        note -> Nullable<Text>,
        by_person -> Text,
        recorded_at -> Timestamp,
        rev -> Integer,
    }
}

diesel::table! {
    extra_work (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        what -> Text,
        minutes -> Nullable<Double>,
        answer -> Text,
        asked_at -> Timestamp,
        by_person -> Text,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    near_miss (shop, id) {
        shop -> Text,
        id -> Text,
        job -> Nullable<Text>,
        kind -> Text,
        what -> Text,
        happened_on -> Date,
        by_person -> Text,
        recorded_at -> Timestamp,
    }
}

diesel::table! {
    van_check (shop, van, id) {
        shop -> Text,
        van -> Text,
        id -> Text,
        document -> Text,
        checked_on -> Date,
        checked_at -> Timestamp,
        by_person -> Text,
    }
}

diesel::table! {
    waiver (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        rule -> Text,
        given -> Bool,
        zones -> Text,
        steps -> Text,
        agreed_by -> Text,
        noted_by -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    closed_week (shop, week_on) {
        shop -> Text,
        week_on -> Date,
        document -> Text,
        closed_at -> Timestamp,
        by_person -> Text,
    }
}

diesel::table! {
    norm_veto (shop, id) {
        shop -> Text,
        id -> Text,
        step -> Text,
        grade -> Nullable<Integer>,
        technician -> Nullable<Text>,
        vetoed -> Bool,
        reason -> Text,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    job_figures (shop, job) {
        shop -> Text,
        job -> Text,
        counted_on -> Date,
        document -> Text,
    }
}

diesel::table! {
    step_cells (shop, week_on, crew, technician) {
        shop -> Text,
        week_on -> Date,
        crew -> Text,
        technician -> Text,
        cells -> Text,
    }
}

diesel::table! {
    acknowledgement (shop, job, version, rule, person) {
        shop -> Text,
        job -> Text,
        version -> Integer,
        rule -> Text,
        person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    handbook_override (shop, version) {
        shop -> Text,
        version -> Integer,
        document -> Text,
        by_person -> Text,
        created_at -> Timestamp,
    }
}

diesel::table! {
    weather_series (shop, place, day) {
        shop -> Text,
        place -> Text,
        day -> Date,
        hours -> Text,
        updated_at -> Timestamp,
        rev -> Integer,
    }
}

diesel::table! {
    outbox (shop, id) {
        shop -> Text,
        id -> Text,
        kind -> Text,
        dedupe_key -> Text,
        payload -> Text,
        status -> Text,
        stage -> Text,
        due_at -> Timestamp,
        lease_until -> Nullable<Timestamp>,
        lease_by -> Nullable<Text>,
        fence -> Integer,
        attempt -> Integer,
        last_error -> Nullable<Text>,
        created_at -> Timestamp,
        finished_at -> Nullable<Timestamp>,
        done_count -> Nullable<Integer>,
        total_count -> Nullable<Integer>,
    }
}

diesel::table! {
    reminder (shop, id) {
        shop -> Text,
        id -> Text,
        customer -> Text,
        job -> Nullable<Text>,
        kind -> Text,
        purpose -> Text,
        dedupe_key -> Text,
        due_at -> Timestamp,
        status -> Text,
        reason -> Text,
        document -> Text,
        created_at -> Timestamp,
        settled_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    upkeep_basis (shop, version) {
        shop -> Text,
        version -> Integer,
        rests_on -> Text,
        experience -> Text,
        climate -> Text,
        made_at -> Timestamp,
    }
}

diesel::table! {
    upkeep_state (shop, vehicle) {
        shop -> Text,
        vehicle -> Text,
        rev -> Integer,
        basis -> Integer,
        computed_on -> Nullable<Date>,
        recheck_on -> Nullable<Date>,
        remind_on -> Nullable<Date>,
        needs -> Text,
        past -> Nullable<Text>,
        fault -> Nullable<Text>,
    }
}

diesel::table! {
    upkeep_need (shop, due_on, vehicle, key) {
        shop -> Text,
        due_on -> Date,
        vehicle -> Text,
        key -> Text,
        kind -> Text,
    }
}

diesel::table! {
    observation (shop, id) {
        shop -> Text,
        vehicle -> Text,
        id -> Text,
        document -> Text,
        by_person -> Text,
        at -> Timestamp,
        withdrawn_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    forecast_check (shop, id) {
        shop -> Text,
        vehicle -> Text,
        id -> Text,
        kind -> Text,
        key -> Text,
        found_on -> Date,
        due_on -> Date,
        risk -> Nullable<Double>,
        found -> Bool,
        at -> Timestamp,
    }
}

diesel::table! {
    kept_reply (shop, principal, operation, key) {
        shop -> Text,
        principal -> Text,
        operation -> Text,
        key -> Text,
        fingerprint -> Text,
        reply -> Nullable<Text>,
        created_at -> Timestamp,
    }
}

diesel::table! {
    webhook (shop, id) {
        shop -> Text,
        id -> Text,
        app -> Nullable<Text>,
        url -> Text,
        events -> Text,
        secret -> Text,
        old_secret -> Nullable<Text>,
        old_secret_until -> Nullable<Timestamp>,
        delivered_at -> Nullable<Timestamp>,
        disabled_at -> Nullable<Timestamp>,
        disabled_because -> Nullable<Text>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    webhook_delivery (shop, id) {
        shop -> Text,
        id -> Text,
        webhook -> Text,
        event -> Text,
        payload -> Text,
        status -> Text,
        attempts -> Integer,
        created_at -> Timestamp,
        settled_at -> Nullable<Timestamp>,
    }
}

diesel::table! {
    webhook_attempt (shop, delivery, number) {
        shop -> Text,
        delivery -> Text,
        number -> Integer,
        at -> Timestamp,
        status -> Nullable<Integer>,
        error -> Nullable<Text>,
        took_ms -> Integer,
    }
}

diesel::table! {
    booking (shop, id) {
        shop -> Text,
        id -> Text,
        app -> Text,
        vehicle -> Text,
        package -> Text,
        options -> Text,
        window_from -> Timestamp,
        window_to -> Timestamp,
        booked_grade -> Integer,
        note -> Nullable<Text>,
        status -> Text,
        reason -> Nullable<Text>,
        job -> Nullable<Text>,
        settled_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    calendar_feed (shop, id) {
        shop -> Text,
        id -> Text,
        person -> Nullable<Text>,
        app -> Nullable<Text>,
        details -> Bool,
        secret_hash -> Text,
        created_at -> Timestamp,
    }
}

diesel::table! {
    audit_entry (shop, number) {
        shop -> Text,
        number -> Integer,
        at -> Timestamp,
        by_kind -> Text,
        by_id -> Nullable<Text>,
        operation -> Text,
        subject -> Text,
        request -> Text,
        hash -> Text,
    }
}

diesel::table! {
    audit_head (shop) {
        shop -> Text,
        number -> Integer,
        hash -> Text,
    }
}

diesel::table! {
    sync_clock (shop) {
        shop -> Text,
        epoch -> Text,
        seq -> BigInt,
        handbook -> Text,
    }
}

diesel::table! {
    sync_scope (shop, person) {
        shop -> Text,
        person -> Text,
        floor_seq -> BigInt,
        row_count -> BigInt,
        row_sum -> BigInt,
        as_of -> Date,
    }
}

diesel::table! {
    sync_index (shop, person, kind, id) {
        shop -> Text,
        person -> Text,
        kind -> Text,
        id -> Text,
        job -> Nullable<Text>,
        seq -> BigInt,
        present -> Bool,
        touched_at -> Timestamp,
    }
}

diesel::table! {
    device (shop, id) {
        shop -> Text,
        id -> Text,
        person -> Text,
        name -> Nullable<Text>,
        row_schema -> Integer,
        last_n -> BigInt,
        state -> Text,
        seen_at -> Timestamp,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    mutation (shop, id) {
        shop -> Text,
        id -> Text,
        device -> Text,
        n -> BigInt,
        person -> Text,
        job -> Text,
        command -> Text,
        version -> Integer,
        outcome -> Text,
        reason -> Nullable<Text>,
        payload -> Nullable<Text>,
        flagged -> Bool,
        occurred_at -> Timestamp,
        sent_at -> Timestamp,
        received_at -> Timestamp,
        corrected_at -> Timestamp,
        inbox -> Nullable<Text>,
        settled_by -> Nullable<Text>,
        settled_at -> Nullable<Timestamp>,
        settled_because -> Nullable<Text>,
        rev -> Integer,
    }
}

diesel::table! {
    step_state (shop, job, step) {
        shop -> Text,
        job -> Text,
        step -> Text,
        status -> Text,
        rev -> Integer,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    step_act (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        step -> Text,
        act -> Text,
        reason -> Nullable<Text>,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    job_comment (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        text -> Text,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    crew_note (shop, job) {
        shop -> Text,
        job -> Text,
        text -> Text,
        device -> Nullable<Text>,
        by_person -> Text,
        at -> Timestamp,
        rev -> Integer,
    }
}

diesel::table! {
    photo (shop, job, id) {
        shop -> Text,
        job -> Text,
        id -> Text,
        upload -> Text,
        caption -> Nullable<Text>,
        zone -> Nullable<Text>,
        by_person -> Text,
        at -> Timestamp,
    }
}

diesel::table! {
    upload (shop, id) {
        shop -> Text,
        id -> Text,
        person -> Text,
        media_type -> Text,
        length_bytes -> BigInt,
        received_bytes -> BigInt,
        expires_at -> Nullable<Timestamp>,
        created_at -> Timestamp,
        metadata -> Text,
    }
}

diesel::table! {
    round_plan (shop, id) {
        shop -> Text,
        id -> Text,
        asked_by -> Text,
        ask -> Text,
        status -> Text,
        progress -> Text,
        fingerprint -> Nullable<Text>,
        outcome -> Nullable<Text>,
        error -> Nullable<Text>,
        begun_at -> Nullable<Timestamp>,
        ended_at -> Nullable<Timestamp>,
        published_at -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    upload_part (shop, upload, from_byte) {
        shop -> Text,
        upload -> Text,
        from_byte -> BigInt,
        bytes -> Binary,
    }
}

diesel::table! {
    promise (shop, job) {
        shop -> Text,
        job -> Text,
        plan -> Nullable<Text>,
        promised_from -> Timestamp,
        promised_to -> Timestamp,
        frozen -> Bool,
        made_at -> Timestamp,
    }
}

diesel::table! {
    held_offer (shop, id) {
        shop -> Text,
        id -> Text,
        person -> Nullable<Text>,
        app -> Nullable<Text>,
        vehicle -> Text,
        package -> Text,
        options -> Text,
        booked_grade -> Integer,
        window_from -> Timestamp,
        window_to -> Timestamp,
        van -> Text,
        technicians -> Text,
        start_at -> Timestamp,
        finish_at -> Timestamp,
        cost -> Double,
        status -> Text,
        expires_at -> Timestamp,
        job -> Nullable<Text>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    travel_matrix (shop) {
        shop -> Text,
        document -> Text,
        rev -> Integer,
        changed_at -> Timestamp,
    }
}

diesel::table! {
    message_gateway (shop) {
        shop -> Text,
        text_url -> Nullable<Text>,
        secret -> Text,
        old_secret -> Nullable<Text>,
        old_secret_until -> Nullable<Timestamp>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    message_template (shop, id) {
        shop -> Text,
        id -> Text,
        kind -> Text,
        language -> Text,
        template -> Text,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::table! {
    customer_reply (shop, id) {
        shop -> Text,
        id -> Text,
        customer -> Nullable<Text>,
        job -> Nullable<Text>,
        way -> Text,
        sender -> Text,
        text -> Text,
        reading -> Text,
        message_key -> Text,
        handled_at -> Nullable<Timestamp>,
        handled_by -> Nullable<Text>,
        rev -> Integer,
        created_at -> Timestamp,
    }
}

diesel::allow_tables_to_appear_in_same_query!(
    shop,
    person,
    login,
    refresh_token,
    partner_app,
    signing_key,
    revoked_token,
    login_failure,
    customer,
    consent,
    vehicle,
    van,
    job,
    job_technician,
    inspection,
    plan,
    step_record,
    step_change,
    arrival,
    extra_work,
    near_miss,
    van_check,
    closed_week,
    norm_veto,
    job_figures,
    step_cells,
    acknowledgement,
    waiver,
    handbook_override,
    weather_series,
    outbox,
    reminder,
    upkeep_basis,
    upkeep_state,
    upkeep_need,
    observation,
    forecast_check,
    kept_reply,
    webhook,
    webhook_delivery,
    webhook_attempt,
    booking,
    calendar_feed,
    audit_entry,
    audit_head,
    sync_clock,
    sync_scope,
    sync_index,
    device,
    mutation,
    step_state,
    step_act,
    job_comment,
    crew_note,
    photo,
    upload,
    upload_part,
    round_plan,
    promise,
    held_offer,
    travel_matrix,
    message_gateway,
    message_template,
    customer_reply,
);
