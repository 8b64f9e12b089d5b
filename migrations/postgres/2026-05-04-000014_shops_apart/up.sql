-- A transaction sees and changes the rows of the shop that it is for, even where a statement forgets to say so.
--
-- It says which one with `SET LOCAL lustrum.shop`; without that there are no rows. `*` means all shops, and counts for
-- the owner of the tables only: for migrations, and for the list of the shops below.

-- Puts every table with a shop under the policies; called again after each migration, so that no table is forgotten.
CREATE FUNCTION keep_shops_apart() RETURNS void LANGUAGE plpgsql AS $$
DECLARE
    place record;
BEGIN
    FOR place IN
        SELECT c.oid::regclass AS name, a.attname AS shop
        FROM pg_class c JOIN pg_attribute a ON a.attrelid = c.oid AND NOT a.attisdropped
        WHERE c.relnamespace = 'public'::regnamespace AND c.relkind IN ('r', 'p')
            AND a.attname = CASE c.relname WHEN 'shop' THEN 'id' ELSE 'shop' END
            AND NOT EXISTS (SELECT FROM pg_policy p WHERE p.polrelid = c.oid)
    LOOP
        EXECUTE format('ALTER TABLE %s ENABLE ROW LEVEL SECURITY, FORCE ROW LEVEL SECURITY', place.name);
        EXECUTE format('CREATE POLICY of_the_shop ON %s USING (%I = current_setting(''lustrum.shop'', true))',
            place.name, place.shop);
        EXECUTE format('CREATE POLICY of_all_shops ON %s TO CURRENT_USER'
            ' USING (current_setting(''lustrum.shop'', true) = ''*'')', place.name);
    END LOOP;
END $$;
SELECT keep_shops_apart();

-- The one thing that is told across shops: that they exist. The worker goes through them one by one.
CREATE FUNCTION all_shops() RETURNS SETOF TEXT LANGUAGE plpgsql SECURITY DEFINER SET search_path = public, pg_temp AS $$
DECLARE
    own TEXT := coalesce(current_setting('lustrum.shop', true), '');
BEGIN
    PERFORM set_config('lustrum.shop', '*', true);
    RETURN QUERY SELECT id FROM shop ORDER BY id;
    PERFORM set_config('lustrum.shop', own, true);
END $$;
